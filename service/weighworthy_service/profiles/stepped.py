"""Chances of a sum of readings on a display with steps, exactly.

A net reading is a rounded load less a rounded zero, and the zero stands anywhere between two steps:
the sum of a rectangular deviation, one step wide, and a normal one, which is then rounded itself.
More readings bring more rectangular deviations.
"""

from collections.abc import Iterator
from math import comb, inf, pi, sqrt
from typing import Final

import numpy as np
from scipy.special import ndtr

from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.risk import Bends, Passing, Values, passing

# Beyond so many standard deviations nothing is left: 1e-23 of a normal distribution is outside ten.
_REACH: Final = 10.0
# From so many steps on, rectangular deviations beside a normal one cannot be told from normal ones
# (the fourth cumulant of each is a 120th of step⁴), and differences below would lose digits.
_SMOOTH: Final = 20.0
# In steps: what a standard deviation of zero counts as.
_NOT_ZERO: Final = 1e-6


def stepped(accepted: Interval, standard: float, step: float, rectangular: int) -> Passing:
    """Probability that a value is accepted, by its expectation, with both kinds of deviation.

    `standard`: standard deviation of the normal one; `rectangular`: how many of one `step` each.
    All in one unit. An interval whose ends have crossed accepts nothing.
    """
    standard = max(standard, _NOT_ZERO * step)
    if standard > _SMOOTH * step or not rectangular:
        return passing(sqrt(standard**2 + rectangular * step**2 / 12), accepted)
    low = -inf if accepted.lower is None else float(accepted.lower)
    high = inf if accepted.upper is None else float(accepted.upper)
    half, width = rectangular * step / (2 * standard), step / standard
    reach = half + _REACH

    def below(distance: Values) -> Values:
        """The probability of a deviation below a distance."""
        at = np.clip(distance / standard, -reach, reach)
        parts = (
            (-1) ** k * comb(rectangular, k) * _integral(at + half - k * width, rectangular)
            for k in range(rectangular + 1)
        )
        found: Values = sum(parts) / width**rectangular
        return found

    def passes(true: Values) -> Values:
        if low > high:
            return np.zeros_like(true)
        # From the side in whose tail no digits are lost.
        swap = true < low
        farther = np.where(swap, true - low, high - true)
        nearer = np.where(swap, true - high, low - true)
        return np.clip(below(farther) - below(nearer), 0.0, 1.0)

    return passes


def bends_of(accepted: Interval, standard: float, step: float, rectangular: int) -> Bends:
    """About which expectations `stepped` changes its course, and how fast, for integrals of it."""
    return list(_bends(accepted, max(standard, _NOT_ZERO * step), step, rectangular))


def _bends(
    accepted: Interval, standard: float, step: float, rectangular: int
) -> Iterator[tuple[float, float]]:
    for end in (accepted.lower, accepted.upper):
        if end is not None:
            for k in range(rectangular + 1):
                yield float(end) + (k - rectangular / 2) * step, standard


def _integral(at: Values, times: int) -> Values:
    """The normal distribution function, integrated so many times from minus infinity."""
    before: Values = np.exp(-(at**2) / 2) / sqrt(2 * pi)
    found: Values = ndtr(at)
    for n in range(1, times + 1):
        before, found = found, (at * found + before) / n
    return found
