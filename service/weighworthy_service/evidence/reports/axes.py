"""Axes of a plot: a frame, round numbers along it, and where values stand in it."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Final

from markupsafe import Markup

from weighworthy_service.evidence.reports import svg

_STEPS: Final = (1, 2, 2.5, 5, 10)
_SIZE: Final = 25


def ticks(low: float, high: float, most: int = 7) -> list[float]:
    """Round numbers from `low` to `high`, at most about `most` of them."""
    if not high > low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** floor(log10(rough))
    step = next(s * power for s in _STEPS if s * power >= rough * 0.999)
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


def spread(values: Sequence[float], beside: float = 0.08) -> tuple[float, float]:
    """A range that holds all values with a margin; a range above nothing even where they agree."""
    low, high = min(values), max(values)
    width = (high - low) or abs(high) or 1.0
    return low - width * beside, high + width * beside


@dataclass(frozen=True, slots=True)
class Frame:
    """A plot of `width` by `height` tenths of a millimetre, with the ranges that it shows."""

    width: float
    height: float
    across: tuple[float, float]
    up: tuple[float, float]
    left: float = 120.0
    right: float = 30.0
    top: float = 20.0
    bottom: float = 90.0

    def x(self, value: float) -> float:
        """Where a value stands across."""
        low, high = self.across
        inside = self.width - self.left - self.right
        return self.left + inside * (value - low) / (high - low)

    def y(self, value: float) -> float:
        """Where a value stands, from the top."""
        low, high = self.up
        inside = self.height - self.top - self.bottom
        return self.height - self.bottom - inside * (value - low) / (high - low)

    def drawn(
        self,
        across: Sequence[tuple[float, str]],
        up: Sequence[tuple[float, str]],
        titles: tuple[str, str],
    ) -> Iterator[Markup]:
        """Grid, numbers and titles of both axes; ticks come with their texts."""
        bottom, right = self.height - self.bottom, self.width - self.right
        for value, label in up:
            y = self.y(value)
            yield svg.line(self.left, y, right, y, 1.5, stroke=svg.WASH)
            yield svg.text(self.left - 12, y + 9, label, _SIZE, text_anchor="end", fill=svg.SOFT)
        for value, label in across:
            x = self.x(value)
            yield svg.line(x, bottom, x, bottom + 8, 2, stroke=svg.SOFT)
            yield svg.text(x, bottom + 36, label, _SIZE, text_anchor="middle", fill=svg.SOFT)
        yield svg.line(self.left, bottom, right, bottom, 2, stroke=svg.SOFT)
        middle = (self.left + right) / 2
        yield svg.text(middle, self.height - 10, titles[0], _SIZE, text_anchor="middle")
        y = (self.top + bottom) / 2
        turned = f"rotate(-90 24 {y:.1f})"
        yield svg.text(24, y, titles[1], _SIZE, text_anchor="middle", transform=turned)


def labelled(values: Sequence[float], number: Callable[[float], str]) -> list[tuple[float, str]]:
    """Ticks with their numbers, free of what floats add to them."""
    return [(value, number(float(f"{value:.10g}") + 0.0)) for value in values]
