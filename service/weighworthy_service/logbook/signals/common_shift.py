"""Whether several things moved together: a common mean, the scatter about it, and the signs.

Each shift comes with a standard uncertainty that was itself estimated, with few degrees of
freedom; weights 1/u² taken as exact would find too much. So the mean has the variance of Meier
(1953), and the scatter is tested as Welch (1951) tests means of groups with unequal variances (both
from memory; the latter held against scipy).
"""

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple

from scipy.special import bdtr, fdtrc, stdtr


class Shift(NamedTuple):
    """A change with its standard uncertainty, above 0, and the degrees of freedom of that."""

    value: float
    u: float
    degrees_of_freedom: float


class Common(NamedTuple):
    """Weighted mean, its standard uncertainty and degrees of freedom, and the chance of zero.

    `chance`: of a mean so far from zero, to either side, if nothing moved.
    """

    value: float
    u: float
    degrees_of_freedom: float
    chance: float


def common(shifts: Sequence[Shift]) -> Common:
    """The mean of one or more shifts, each weighted by 1/u²."""
    weights, whole = _weights(shifts)
    mean = fsum(w * s.value for w, s in zip(weights, shifts, strict=True)) / whole
    parts = [w / whole for w in weights]
    rough = fsum(p * (1 - p) / s.degrees_of_freedom for p, s in zip(parts, shifts, strict=True))
    u = sqrt((1 + 4 * rough) / whole)
    degrees = 1 / fsum(p * p / s.degrees_of_freedom for p, s in zip(parts, shifts, strict=True))
    return Common(mean, u, degrees, min(1.0, 2 * float(stdtr(degrees, -abs(mean) / u))))


def chance_of_scatter(shifts: Sequence[Shift]) -> float:
    """Chance of so much scatter about the mean, of two or more, if all moved by the same."""
    weights, whole = _weights(shifts)
    k = len(shifts)
    mean = fsum(w * s.value for w, s in zip(weights, shifts, strict=True)) / whole
    between = fsum(w * (s.value - mean) ** 2 for w, s in zip(weights, shifts, strict=True))
    rough = fsum(
        (1 - w / whole) ** 2 / s.degrees_of_freedom for w, s in zip(weights, shifts, strict=True)
    )
    f = between / (k - 1) / (1 + 2 * (k - 2) / (k * k - 1) * rough)
    return float(fdtrc(k - 1, (k * k - 1) / (3 * rough), f))


def chance_of_signs(shifts: Sequence[Shift]) -> float:
    """Chance of signs so one-sided, to either side, if each is as likely; zeros do not count."""
    up, down = (sum(sign * s.value > 0 for s in shifts) for sign in (1, -1))
    if up + down == 0:
        return 1.0
    return min(1.0, 2 * float(bdtr(min(up, down), up + down, 0.5)))


def chance_without_any(shifts: Sequence[Shift]) -> float:
    """The largest chance of the mean when any one of two or more is left out."""
    return max(common([*shifts[:i], *shifts[i + 1 :]]).chance for i in range(len(shifts)))


def _weights(shifts: Sequence[Shift]) -> tuple[list[float], float]:
    weights = [1 / s.u**2 for s in shifts]
    return weights, fsum(weights)
