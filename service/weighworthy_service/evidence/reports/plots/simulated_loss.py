"""Mass against time of a simulated loss, where the readings of the run were sent."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from markupsafe import Markup

from weighworthy_service.checks.pages import marked
from weighworthy_service.evidence.reports import svg
from weighworthy_service.evidence.reports.axes import Frame, labelled, spread, ticks
from weighworthy_service.evidence.reports.figures import quantity
from weighworthy_service.evidence.reports.words import Words
from weighworthy_service.metrology.quantity import read_quantity

Data = Mapping[str, Any]

TITLE: Final = marked("Mass against time")
NOTE: Final = marked(
    "The readings of the run are drawn as they were sent; the two dashed ones are judged."
)
_WIDTH: Final = 1780.0
_HEIGHT: Final = 560.0
_AS_DOTS: Final = 60
_IN_MINUTES: Final = 300


def plot(words: Words, _answer: Data, request: Data | None) -> Markup | None:
    """The drawing; None: no series was sent."""
    series = (request or {}).get("series") or []
    if not series or request is None:
        return None
    at = [float(read_quantity(point["at"], "time", "not-negative")) for point in series]
    masses = [_grams(point["indication"]) for point in series]
    ends = [
        (title, text, _grams(text))
        for title, text in (
            (words.text("start"), request["initial"].get("indication")),
            (words.text("end"), request["final"].get("indication")),
        )
        if text is not None
    ]
    per, unit = (60, "min") if max(at) >= _IN_MINUTES else (1, "s")
    across = (0.0, (max(at) / per) * 1.02 or 1.0)
    up = spread([*masses, *(mass for _, _, mass in ends)], 0.12)
    frame = Frame(_WIDTH, _HEIGHT, across, up, left=150.0, right=290.0)
    places = [(frame.x(t / per), frame.y(mass)) for t, mass in zip(at, masses, strict=True)]
    titles = (
        words.text("Time since the start in {unit}", unit=unit),
        words.text("Indication in g"),
    )
    grid = [labelled(ticks(*of), words.number) for of in (across, up)]
    parts = [*frame.drawn(grid[0], grid[1], titles), *_ends(words, frame, ends), *_run(places)]
    title = words.text("Indication against time")
    return svg.drawing(_WIDTH, _HEIGHT, parts, of="plot", title=title)


def _grams(text: Any) -> float:
    grams: Decimal = read_quantity(text, "mass")
    return float(grams)


def _ends(words: Words, frame: Frame, ends: Sequence[tuple[str, Any, float]]) -> Iterator[Markup]:
    """The two readings that are judged, as lines across."""
    right = frame.width - frame.right
    for title, text, mass in ends:
        y = frame.y(mass)
        yield svg.line(frame.left, y, right, y, 2.5, stroke_dasharray="14 8")
        yield svg.text(right + 14, y - 4, title, 25, fill=svg.SOFT)
        yield svg.text(right + 14, y + 26, quantity(words, text), 27)


def _run(places: Sequence[tuple[float, float]]) -> Iterator[Markup]:
    if len(places) > 1:
        yield svg.shape(places, closed=False, stroke=svg.DEEP, stroke_width=4)
    if len(places) <= _AS_DOTS:
        yield from (svg.ring(x, y, 7, fill=svg.DEEP) for x, y in places)
