"""The stated expanded uncertainty, told without a quantile wherever bounds decide it.

k·u is stated with two digits, so that nearly always every k between two bounds states the same. A
quantile of Student's distribution with effective, broken degrees of freedom costs more than all
else that a row of an archive takes; its bounds are those of a narrow range of degrees, and kept.
"""

from bisect import bisect_left
from decimal import Decimal
from functools import lru_cache
from math import exp, floor, inf, log
from typing import Final

from weighworthy_service.metrology.budget import STATED_STEPS, STATED_VALUES, coverage_factor

# Ranges of degrees of freedom have ends 1/512 apart in their logarithm: k differs by parts of a
# thousand in them, and most archives need some tens of them.
_RANGES: Final = 512
# From here on to infinity all is one range.
_LAST: Final = 8 * _RANGES
_MANY: Final = exp(_LAST / _RANGES)
# Far more than floats, settled digits and the quantile function may be off by, and far less than
# from one step of two digits to the next.
_SLACK: Final = 1e-6


@lru_cache(maxsize=64)
def stating(coverage: Decimal) -> "Stating":
    """What states expanded uncertainties of a coverage, in %; it remembers what it has learnt."""
    return Stating(coverage)


class Stating:
    """States expanded uncertainties of one coverage, in %."""

    def __init__(self, coverage: Decimal) -> None:
        self._coverage = coverage
        self._factors: dict[int, tuple[float, float]] = {}

    def sure(self, standard: float, degrees_of_freedom: float) -> Decimal | None:
        """What `combine` states; None: bounds do not tell.

        Both arguments may be off by some 1e-9 of themselves.
        """
        if degrees_of_freedom < 1:
            return None
        many = degrees_of_freedom > _MANY
        at = _LAST if many else floor(log(degrees_of_freedom) * _RANGES)
        low, high = self._factors.get(at) or self._of_range(at)
        step = bisect_left(STATED_STEPS, standard * low)
        if 0 < step < len(STATED_STEPS) and standard * high <= STATED_STEPS[step]:
            return STATED_VALUES[step]
        return None

    def _of_range(self, at: int) -> tuple[float, float]:
        """Bounds of k: it falls as degrees of freedom grow."""
        above = inf if at >= _LAST else exp((at + 1) / _RANGES)
        low, high = (coverage_factor(nu, self._coverage) for nu in (above, exp(at / _RANGES)))
        self._factors[at] = found = (low * (1 - _SLACK), high * (1 + _SLACK))
        return found
