"""How fast an error changes: a straight line through a series, by two independent ways.

Least squares with the interval of Student's t, which supposes that departures from the line are
independent and normal; and the median of all pairwise slopes (Theil 1950, Sen 1968) with its rank
interval, which one wild value cannot move. Both by scipy.

On a display whose step is as large as the scatter, many pairs are equal and their slopes exactly
zero. The rank interval then ends at zero and misses a small drift far more often than it claims
(of thirty checks with a scatter of 0.8 steps, in up to six cases of ten), while that of least
squares keeps its promise. So the median of pairs is left out there.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import hypot, isfinite
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.drift.charts import MOST_EQUAL_PAIRS, equal_pairs
from weighworthy_service.logbook.drift.series import Point

LEAST_POINTS: Final = 6
# All pairs of more would take hundreds of megabytes.
MOST_FOR_PAIRS: Final = 1000
DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Line:
    """y = value + slope·(x - middle), with u of value and slope, which are uncorrelated there.

    `quantile`: of Student's t, for the two-sided interval that was asked for.
    """

    middle: float
    value: float
    slope: float
    u_value: float
    u_slope: float
    quantile: float

    def at(self, x: float) -> float:
        """The line itself."""
        return self.value + self.slope * (x - self.middle)

    def half_width(self, x: float) -> float:
        """Half the width of the confidence band of the line."""
        return self.quantile * hypot(self.u_value, self.u_slope * (x - self.middle))


@dataclass(frozen=True, slots=True)
class Rate:
    """Change a day, in the unit of the series, and its confidence interval."""

    value: float
    low: float
    high: float

    @property
    def differs_from_zero(self) -> bool:
        """Whether zero lies outside the interval."""
        return not self.low <= 0 <= self.high


@dataclass(frozen=True, slots=True)
class Slope:
    """What a series says of its rate of change; nothing (None) where it says too little.

    `line` has days since the first point as x. `pairs` is the median of pairwise slopes.
    """

    points: int
    span_days: float
    confidence: float
    least_squares: Rate | None
    pairs: Rate | None
    line: Line | None
    findings: tuple[Finding, ...]


def slope_of(points: Sequence[Point], confidence: float = 0.95) -> Slope:
    """The slope of a series of at least one point, in order of time."""
    x, y = days_of(points), [point.value for point in points]
    span = x[-1]
    silent = _why_silent(x, y)
    if silent is not None:
        return Slope(len(x), span, confidence, None, None, None, (silent,))
    line = fit(x, y, confidence)
    half = line.quantile * line.u_slope
    least_squares = Rate(line.slope, line.slope - half, line.slope + half)
    no_pairs = _why_no_pairs(y)
    pairs = None if no_pairs else median_of_pairs(x, y, confidence)
    findings = (*no_pairs, *_remarks(y, least_squares, pairs))
    return Slope(len(x), span, confidence, least_squares, pairs, line, findings)


def days_of(points: Sequence[Point]) -> list[float]:
    """Days since the first."""
    return [(point.at - points[0].at) / DAY for point in points]


def instant(start: datetime, days: float) -> datetime | None:
    """That many days after `start`, to the second; None: after the last year there is."""
    try:
        return start + timedelta(seconds=round(days * 86_400))
    except OverflowError:
        return None


def fit(x: ArrayLike, y: ArrayLike, confidence: float) -> Line:
    """Least squares through at least three points of which not all have one x."""
    from scipy.stats import linregress  # noqa: PLC0415 - takes more than a second to load

    abscissae = np.asarray(x, dtype=float)
    middle = float(abscissae.mean())
    # About the middle, the uncertainties of value and slope are independent of each other.
    found = linregress(abscissae - middle, y)
    return Line(
        middle,
        float(found.intercept),
        float(found.slope),
        float(found.intercept_stderr),
        float(found.stderr),
        float(stdtrit(len(abscissae) - 2, (1 + confidence) / 2)),
    )


def median_of_pairs(x: ArrayLike, y: ArrayLike, confidence: float) -> Rate | None:
    """The median of pairwise slopes; None: the ranks leave no interval."""
    from scipy.stats import theilslopes  # noqa: PLC0415

    found = theilslopes(y, x, alpha=confidence)
    rate = Rate(float(found.slope), float(found.low_slope), float(found.high_slope))
    return rate if isfinite(rate.low) and isfinite(rate.high) else None


def _why_silent(x: Sequence[float], y: Sequence[float]) -> Finding | None:
    if len(x) < LEAST_POINTS:
        said = f"{len(x)} points: a slope is told from {LEAST_POINTS} on"
        return Finding("too-few-points", "note", said)
    if x[-1] <= 0:
        return Finding("no-span", "note", "all points are of one instant: no slope")
    if min(y) == max(y):
        said = "all values are equal: any change is hidden below the scale interval"
        return Finding("all-equal", "note", said)
    return None


def _why_no_pairs(y: Sequence[float]) -> list[Finding]:
    if len(y) > MOST_FOR_PAIRS:
        said = f"the median of pairwise slopes is told up to {MOST_FOR_PAIRS} points"
        return [Finding("pairs-left-out", "note", said)]
    equal = equal_pairs(y)
    if equal <= MOST_EQUAL_PAIRS:
        return []
    said = (
        f"{equal:.0%} of all pairs of values are equal: the step of the display draws the median "
        "of pairwise slopes to zero, and it is left out"
    )
    return [Finding("pairs-left-out", "note", said)]


def _remarks(y: Sequence[float], least_squares: Rate, pairs: Rate | None) -> tuple[Finding, ...]:
    found = []
    ((value, times),) = Counter(y).most_common(1)
    if 2 * times > len(y):
        said = (
            f"{times} of {len(y)} values are {value:g}: departures are steps of the display, "
            "not normal, and the interval is a rough guide"
        )
        found.append(Finding("quantised", "warning", said))
    if pairs is not None and pairs.differs_from_zero != least_squares.differs_from_zero:
        said = (
            "least squares and the median of pairwise slopes do not agree on whether there is a "
            "change: look for a wild value or a step"
        )
        found.append(Finding("slopes-disagree", "warning", said))
    return tuple(found)
