"""A value with its uncertainty between its limits, as a strip of fixed length.

Both limits stand at a fifth and at four fifths of the strip, so that strips of different criteria
can be compared at a glance; the strip shows more where value and uncertainty reach farther, and an
arrow where they reach too far to be shown.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from weighworthy_service.evidence.reports import svg

WIDTH: Final = 620.0
_HEIGHT: Final = 86.0
_MIDDLE: Final = 34.0
# A third of the tolerance on either side of it: limits at 1/5 and 4/5.
_BESIDE: Final = 1 / 3
# Of the tolerance; what reaches farther from it is not shown to scale.
_FARTHEST: Final = 3.0
_EDGE: Final = 0.03


@dataclass(frozen=True, slots=True)
class Scale:
    """What a strip shows from its left end to its right end, in the unit of the value."""

    low: float
    high: float

    def place(self, value: float) -> float:
        """Where a value stands, from 0 (left) to 1 (right); outside of it: not shown."""
        return (value - self.low) / (self.high - self.low)


def scale_of(value: float, expanded: float, lower: float | None, upper: float | None) -> Scale:
    """The scale of a strip; with no limit, or one, the other side is as far as value and zero."""
    reach = [value - expanded, value + expanded]
    if lower is not None and upper is not None and upper > lower:
        width = upper - lower
        low, high = lower - width * _BESIDE, upper + width * _BESIDE
    else:
        ends = [*reach, 0.0, *(end for end in (lower, upper) if end is not None)]
        width = (max(ends) - min(ends)) or 1.0
        low, high = min(ends) - width / 4, max(ends) + width / 4
        return Scale(low, high)
    low = max(min(low, reach[0] - width * _EDGE), lower - width * _FARTHEST)
    high = min(max(high, reach[1] + width * _EDGE), upper + width * _FARTHEST)
    return Scale(low, high)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a strip shows, in one unit; `labels`: the texts of the limits.

    `guard`: how far the acceptance limits lie within the limits; 0: there are none of their own.
    """

    value: float
    expanded: float
    lower: float | None
    upper: float | None
    labels: tuple[str | None, str | None]
    guard: float
    title: str


def strip(shown: Shown) -> Markup:
    """The drawing."""
    scale = scale_of(shown.value, shown.expanded, shown.lower, shown.upper)
    parts = [*_tolerance(shown, scale), *_zero(scale), *_value(shown, scale)]
    return svg.drawing(WIDTH, _HEIGHT, parts, of="strip", title=shown.title)


def _x(scale: Scale, value: float) -> float:
    return WIDTH * min(1.0, max(0.0, scale.place(value)))


def _tolerance(shown: Shown, scale: Scale) -> Iterator[Markup]:
    left = 0.0 if shown.lower is None else _x(scale, shown.lower)
    right = WIDTH if shown.upper is None else _x(scale, shown.upper)
    yield svg.line(0, _MIDDLE, WIDTH, _MIDDLE, 2, stroke=svg.LINE)
    if shown.lower is None and shown.upper is None:
        return
    yield svg.box(left, _MIDDLE - 20, right - left, 40, fill=svg.WASH)
    for limit, sign, label in (
        (shown.lower, 1, shown.labels[0]),
        (shown.upper, -1, shown.labels[1]),
    ):
        if limit is None:
            continue
        x = _x(scale, limit)
        yield svg.line(x, _MIDDLE - 27, x, _MIDDLE + 27, 5)
        if shown.guard:
            inner = _x(scale, limit + sign * shown.guard)
            yield svg.line(inner, _MIDDLE - 20, inner, _MIDDLE + 20, 2.5, stroke_dasharray="6 5")
        if label:
            anchor = "start" if x < 60 else "end" if x > WIDTH - 60 else "middle"
            yield svg.text(x, 84, label, 23, text_anchor=anchor, fill=svg.SOFT)


def _zero(scale: Scale) -> Iterator[Markup]:
    if 0 < scale.place(0.0) < 1:
        x = _x(scale, 0.0)
        yield svg.line(x, _MIDDLE - 20, x, _MIDDLE + 20, 1.5, stroke=svg.SOFT)


def _value(shown: Shown, scale: Scale) -> Iterator[Markup]:
    ends = (shown.value - shown.expanded, shown.value + shown.expanded)
    left, right = (_x(scale, end) for end in ends)
    if shown.expanded:
        yield svg.line(left, _MIDDLE, right, _MIDDLE, 6)
        for end, x in zip(ends, (left, right), strict=True):
            if 0 <= scale.place(end) <= 1:
                yield svg.line(x, _MIDDLE - 11, x, _MIDDLE + 11, 4)
    place = scale.place(shown.value)
    if 0 <= place <= 1:
        yield svg.diamond(WIDTH * place, _MIDDLE, 15, stroke="#fff", stroke_width=3)
        return
    tip, back = (0.0, 26.0) if place < 0 else (WIDTH, WIDTH - 26.0)
    yield svg.shape([(tip, _MIDDLE), (back, _MIDDLE - 17), (back, _MIDDLE + 17)])
