"""Error against load: points up and down, their uncertainties, limits, mean curve, hysteresis."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from markupsafe import Markup

from weighworthy_service.checks.pages import marked
from weighworthy_service.evidence.reports import svg
from weighworthy_service.evidence.reports.axes import Frame, labelled, spread, ticks
from weighworthy_service.evidence.reports.words import Words

Data = Mapping[str, Any]

TITLE: Final = marked("Error against load")
NOTE: Final = marked(
    "Bars are expanded uncertainties. Readings up and down of one load stand beside each other."
)
_WIDTH: Final = 1780.0
_HEIGHT: Final = 700.0


def plot(words: Words, answer: Data, _request: Data | None) -> Markup | None:
    """The drawing; None: the answer tells no points."""
    points = answer["results"].get("points") or []
    if not points:
        return None
    frame = _frame(points)
    parts = [
        *_axes(words, frame),
        *_limits(frame, points),
        *_hysteresis(frame, answer["results"]),
        *_curve(frame, answer["results"].get("curve") or []),
        *(part for point in points for part in _point(frame, point)),
        *_key(words, points),
    ]
    title = words.text("Error of indication against load")
    return svg.drawing(_WIDTH, _HEIGHT, parts, of="plot", title=title)


def _mg(value: float) -> float:
    return value * 1000


def _frame(points: Sequence[Data]) -> Frame:
    heights = [0.0]
    for point in points:
        expanded = point["expanded_uncertainty"] or 0
        heights += [_mg(point["error"] - expanded), _mg(point["error"] + expanded)]
        limits = (point["lower_limit"], point["upper_limit"])
        heights += [_mg(limit) for limit in limits if limit is not None]
    loads = [0.0, *(point["load"] for point in points)]
    across = (0.0, max(loads) * 1.04 or 1.0)
    return Frame(_WIDTH, _HEIGHT, across, spread(heights, 0.06), top=70.0)


def _axes(words: Words, frame: Frame) -> Iterator[Markup]:
    titles = (words.text("Load in g"), words.text("Error in mg"))
    across, up = (labelled(ticks(*of), words.number) for of in (frame.across, frame.up))
    yield from frame.drawn(across, up, titles)
    zero = frame.y(0.0)
    yield svg.line(frame.left, zero, frame.width - frame.right, zero, 2, stroke=svg.SOFT)


def _limits(frame: Frame, points: Sequence[Data]) -> Iterator[Markup]:
    """Of each load, joined; a limit may differ from load to load."""
    half = (frame.across[1] - frame.across[0]) / 90
    for side in ("lower_limit", "upper_limit"):
        at = sorted({(p["load"], p[side]) for p in points if p[side] is not None})
        ends = [(frame.x(load), frame.y(_mg(limit))) for load, limit in at]
        if len(ends) > 1:
            yield svg.shape(
                ends, closed=False, stroke=svg.INK, stroke_width=2.5, stroke_dasharray="14 8"
            )
        for load, limit in at:
            y = frame.y(_mg(limit))
            yield svg.line(frame.x(load - half), y, frame.x(load + half), y, 5)


def _curve(frame: Frame, curve: Sequence[Data]) -> Iterator[Markup]:
    ends = [(frame.x(0.0), frame.y(0.0))]
    ends += [(frame.x(mean["load"]), frame.y(_mg(mean["error"]))) for mean in curve]
    yield svg.shape(ends, closed=False, stroke=svg.DEEP, stroke_width=3)


def _hysteresis(frame: Frame, results: Data) -> Iterator[Markup]:
    """A bar from the mean up to the mean down, where a load was read both ways."""
    for turn in results.get("hysteresis") or []:
        means = {}
        for way in ("up", "down"):
            of = [
                point["error"]
                for point in results["points"]
                if point["load"] == turn["load"] and point["direction"] == way
            ]
            if of:
                means[way] = frame.y(_mg(sum(of) / len(of)))
        if len(means) == 2:
            x, (high, low) = frame.x(turn["load"]), sorted(means.values())
            yield svg.box(x - 9, high, 18, max(low - high, 1), fill=svg.LINE)


def _point(frame: Frame, point: Data) -> Iterator[Markup]:
    # Up and down of one load stand beside each other, so that their bars can be told apart.
    aside = {"up": -13, "down": 13}.get(point["direction"], 0)
    x, y = frame.x(point["load"]) + aside, frame.y(_mg(point["error"]))
    if expanded := point["expanded_uncertainty"]:
        high, low = (frame.y(_mg(point["error"] + sign * expanded)) for sign in (1, -1))
        yield svg.line(x, high, x, low, 2.5)
        for end in (high, low):
            yield svg.line(x - 7, end, x + 7, end, 2.5)
    yield from _mark(point["direction"], point["verdict"], x, y)


def _mark(direction: str | None, verdict: str | None, x: float, y: float) -> Iterator[Markup]:
    filled = svg.INK if direction != "down" else "#fff"
    outline: dict[str, Any] = {"stroke": svg.INK, "stroke_width": 3, "fill": filled}
    if direction is None:
        yield svg.diamond(x, y, 13, **outline)
    else:
        sign = 1 if direction == "up" else -1
        corners = [(x - 13, y + sign * 10), (x + 13, y + sign * 10), (x, y - sign * 14)]
        yield svg.shape(corners, **outline)
    if verdict in ("fail", "conditional-fail"):
        yield _around(x, y, 22)


def _key(words: Words, points: Sequence[Data]) -> Iterator[Markup]:
    """What the signs mean, above the plot."""
    x, y = 120.0, 28.0
    ways = {point["direction"] for point in points}
    named = {
        None: words.text("reading"),
        "up": words.text("load going up"),
        "down": words.text("load going down"),
    }
    for way in (None, "up", "down"):
        if way in ways:
            yield from _mark(way, None, x, y)
            yield svg.text(x + 24, y + 9, named[way], 25)
            x += 70 + 13.5 * len(named[way])
    signs = (
        (words.text("mean"), svg.line(-20, 0, 20, 0, 3, stroke=svg.DEEP)),
        (words.text("limit"), svg.line(-20, 0, 20, 0, 5)),
        (words.text("hysteresis"), svg.box(-9, -16, 18, 32, fill=svg.LINE)),
        (words.text("outside"), _around(0, 0, 17)),
    )
    for label, sign in signs:
        yield svg.moved(sign, x + 10, y)
        yield svg.text(x + 40, y + 9, label, 25)
        x += 80 + 13.5 * len(label)


def _around(x: float, y: float, half: float) -> Markup:
    """The sign of a reading outside of its limits."""
    whole = 2 * half
    return svg.box(x - half, y - half, whole, whole, fill="none", stroke=svg.INK, stroke_width=3.5)
