"""How likely it is that readings come out equal, where they scatter and are rounded."""

from typing import Final

import numpy as np
from scipy.special import bdtrc, ndtr

# Where a true value may stand between two steps; by symmetry half of them will do.
_PLACES: Final = np.linspace(0, 0.5, 101)
# Of a normal distribution nothing to speak of lies beyond nine standard deviations.
_REACH: Final = 9


def chance_equal(times: int, scatter: float) -> float:
    """Chance that so many readings of one value are all equal, at the likeliest place of the value.

    `scatter`: standard deviation as a share of the scale interval, above 0. A reading is the value
    with a normal error, rounded to the nearest step; with p the chance of a step, it is the sum of
    p to the power of `times` over all steps.
    """
    steps = np.arange(-np.ceil(_REACH * scatter + 1), np.ceil(_REACH * scatter + 1) + 1)
    ends = (np.append(steps - 0.5, steps[-1] + 0.5) - _PLACES[:, None]) / scatter
    each = np.diff(ndtr(ends), axis=1)
    return float(np.max(np.sum(each**times, axis=1)))


def chance_of_run(length: int, checks: int, scatter: float, readings: int) -> float:
    """Upper bound of the chance of a run of equal checks, of `length`, somewhere among `checks`.

    A check has so many independent `readings`, which must all be equal. A run can begin at each of
    checks - length + 1; the sum of their chances is no less than that of any.
    """
    one: float = chance_equal(length, scatter) ** readings
    return min(1.0, (checks - length + 1) * one)


def chance_of_pairs(equal: int, pairs: int, scatter: float, readings: int) -> float:
    """Upper bound of the chance of at least so many `equal` among pairs that share no check."""
    if equal == 0:
        return 1.0
    return float(bdtrc(equal - 1, pairs, chance_equal(2, scatter) ** readings))
