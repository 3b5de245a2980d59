"""A control chart: values over time with centre, control limits and tolerance, signals marked."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from markupsafe import Markup

from weighworthy_service.evidence.reports import svg
from weighworthy_service.evidence.reports.axes import Frame, labelled, spread, ticks
from weighworthy_service.evidence.reports.figures import small
from weighworthy_service.evidence.reports.words import Words

Data = Mapping[str, Any]

_WIDTH: Final = 1780.0
_HEIGHT: Final = 500.0
# Without control limits there is little to see.
_LITTLE: Final = 340.0
# A tolerance so many times wider than what was found would flatten it to a line: it is named.
_WIDEST: Final = 8.0
_DATES: Final = 6
_AS_LINE: Final = 250


def drift_plot(words: Words, series: Data) -> Markup:
    """The drawing of one series, which has at least one point."""
    unit, power = small(series["unit"])
    factor = 10.0**power
    points = [
        (datetime.fromisoformat(point["at"]).astimezone(UTC).timestamp(), point["value"] * factor)
        for point in series["points"]
    ]
    levels = _levels(words, series, factor)
    found = [value for _, value in points] + [y for y, _, kind in levels if kind != "limit"]
    low, high = min(found), max(found)
    # Values that agree would make any limit seem far; their uncertainty is a measure, too.
    expanded = [(point["expanded_uncertainty"] or 0) * factor for point in series["points"]]
    reach = _WIDEST * max(high - low, *expanded, 1e-9)
    shown = [one for one in levels if low - reach <= one[0] <= high + reach]
    height = _LITTLE if series["chart"] is None else _HEIGHT
    frame = Frame(
        _WIDTH,
        height,
        spread([at for at, _ in points], 0.03),
        spread([*found, *(y for y, _, _ in shown)], 0.1),
        left=130.0,
        right=240.0,
        top=24.0,
        bottom=60.0,
    )
    parts = [
        *_baseline(frame, series["chart"], points),
        *_axes(words, frame, points, unit),
        *(part for level in _apart(shown) for part in _level(frame, level)),
        *_run(frame, points),
        *_signals(frame, series, points),
    ]
    title = words.text("Control chart")
    return svg.drawing(_WIDTH, height, parts, of="plot", title=title)


def _levels(words: Words, series: Data, factor: float) -> list[tuple[float, str, str]]:
    """Heights in the unit shown, each with its name and kind."""
    last, chart = series["points"][-1], series["chart"]
    levels = [
        (last[side] * factor, words.text("limit"), "limit")
        for side in ("lower_limit", "upper_limit")
        if last[side] is not None
    ]
    if chart is not None:
        levels += [
            (chart["centre"] * factor, words.text("centre"), "centre"),
            (chart["upper"] * factor, words.text("upper control limit"), "control"),
            (chart["lower"] * factor, words.text("lower control limit"), "control"),
        ]
    return levels


def _apart(levels: Sequence[tuple[float, str, str]]) -> list[tuple[float, str, str]]:
    return sorted(levels, key=lambda level: level[2] != "limit")


def _axes(
    words: Words, frame: Frame, points: Sequence[tuple[float, float]], unit: str
) -> Iterator[Markup]:
    first, last = points[0][0], points[-1][0]
    count = min(_DATES, len(points)) if last > first else 1
    instants = [first + (last - first) * i / max(count - 1, 1) for i in range(count)]
    dates = [(at, words.day(datetime.fromtimestamp(at, UTC).date())) for at in instants]
    most = 6 if frame.height == _HEIGHT else 4
    up = labelled(ticks(*frame.up, most=most), words.number)
    yield from frame.drawn(dates, up, ("", words.text("Value in {unit}", unit=unit)))


def _baseline(
    frame: Frame, chart: Data | None, points: Sequence[tuple[float, float]]
) -> Iterator[Markup]:
    """A grey ground under the points that the control limits rest on."""
    if chart is None or not points:
        return
    last = points[min(chart["baseline"], len(points)) - 1][0]
    left, right = frame.x(points[0][0]) - 8, frame.x(last) + 8
    height = frame.height - frame.top - frame.bottom
    yield svg.box(left, frame.top, right - left, height, fill="#f1f4f6")


def _level(frame: Frame, level: tuple[float, str, str]) -> Iterator[Markup]:
    value, label, kind = level
    y, right = frame.y(value), frame.width - frame.right
    width, dashes = {"limit": (5.0, None), "control": (2.5, "14 8"), "centre": (2.5, None)}[kind]
    yield svg.line(frame.left, y, right, y, width, stroke_dasharray=dashes)
    yield svg.text(right + 12, y + 8, label, 23)


def _run(frame: Frame, points: Sequence[tuple[float, float]]) -> Iterator[Markup]:
    places = [(frame.x(at), frame.y(value)) for at, value in points]
    if len(places) > 1:
        yield svg.shape(places, closed=False, stroke=svg.DEEP, stroke_width=1.6)
    radius = 6.5 if len(places) <= _AS_LINE else 3.0
    yield from (svg.ring(x, y, radius, fill=svg.DEEP) for x, y in places)


def _signals(frame: Frame, series: Data, points: Sequence[tuple[float, float]]) -> Iterator[Markup]:
    """A square about each point at which a test spoke."""
    if series["chart"] is None:
        return
    spoke = {signal["entry"] for signal in series["chart"]["signals"]}
    for point, (at, value) in zip(series["points"], points, strict=True):
        if point["entry"] in spoke:
            x, y = frame.x(at) - 14, frame.y(value) - 14
            yield svg.box(x, y, 28, 28, fill="none", stroke=svg.INK, stroke_width=3.5)
