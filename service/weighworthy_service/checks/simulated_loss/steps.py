"""How likely a loss from displayed readings is accepted.

Readings have steps, and a loss from few likely initial readings has them too: as coarse as d over
the start load, which is where most limits of losses lie. So every initial reading is gone through,
with the final readings that are accepted beside it.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, inf, sqrt
from typing import Final

import numpy as np
from scipy.special import ndtr

from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.loss import Basis, loss, slopes
from weighworthy_service.metrology.risk import Passing, Values

# With a repeatability of more steps than this, hardly anything is left of them.
_MAX_STEPS: Final = 3
# Standard deviations of readings that are gone through, deviations that are tabulated, and
# positions of the zero between two steps.
_REACH, _TABLE, _ZEROS = 8, 1001, 12
# In steps: what a standard deviation of zero counts as.
_NOT_ZERO: Final = 1e-6


@dataclass(frozen=True, slots=True)
class LossSteps:
    """A simulated loss of a balance without error: reference masses in g, s of one reading in g."""

    initial: Fraction
    final: Fraction
    basis: Basis
    repeatability: float

    def has_grid(self, step: Decimal) -> bool:
        """Whether the steps of the display show in the losses."""
        return self.repeatability <= _MAX_STEPS * float(step)

    def rounding(self, step: Decimal) -> Fraction:
        """How far the rounding of zero and both readings can shift the loss, in %: wet, 100 d/m."""
        at = slopes(self.initial, self.final, self.basis)
        return (abs(at.initial) + abs(at.final) + abs(at.common)) * Fraction(step) / 2

    def passes(
        self, accepted: Interval, ends_pass: tuple[bool, bool], step: Decimal, varying: float
    ) -> Passing:
        """Probability of acceptance by how far the loss is off, in %, through the final reading.

        `ends_pass`: whether a value just on the lower and upper end is accepted. `varying` is all
        that is new in every check, in %: what it has beside repeatability and rounding goes to the
        final reading.
        """
        d, at = float(step), slopes(self.initial, self.final, self.basis)
        first = self._initial_readings(step)
        then = [self._final_readings(i, accepted, ends_pass, step) for i in first]
        begin = np.array([float(i - self.initial) for i in first])
        low, high = np.array(then).T
        s_first = max(self.repeatability, _NOT_ZERO * d)
        s_then = max(sqrt(self.repeatability**2 + self._rest(step, varying)), _NOT_ZERO * d)
        ends = [abs(float(side)) for side in (accepted.lower, accepted.upper) if side is not None]
        reach = 2 * max(ends) + _REACH * varying
        off = np.linspace(-reach, reach, _TABLE)
        shift = (off / float(at.final))[:, None]
        chances = np.zeros_like(off)
        for zero in ((np.arange(_ZEROS) + 0.5) / _ZEROS - 0.5) * d:
            upper, lower = ((begin + side - zero) / s_first for side in (d / 2, -d / 2))
            inside = ndtr((high - shift - zero) / s_then) - ndtr((low - shift - zero) / s_then)
            chances += np.maximum(inside, 0) @ (ndtr(upper) - ndtr(lower)) / _ZEROS

        def table(true: Values) -> Values:
            found: Values = np.interp(true, off, chances)
            return found

        return table

    def _initial_readings(self, step: Decimal) -> list[Fraction]:
        d = Fraction(step)
        middle, around = round(self.initial / d), ceil(_REACH * self.repeatability / float(d)) + 2
        return [n * d for n in range(max(1, middle - around), middle + around + 1)]

    def _final_readings(
        self, initial: Fraction, accepted: Interval, ends_pass: tuple[bool, bool], step: Decimal
    ) -> tuple[float, float]:
        """From midway below the first accepted reading to midway above the last, less the mass."""
        d = Fraction(step)
        expected = loss(self.initial, self.final, self.basis)
        low, high = -inf, inf
        least = None if accepted.upper is None else self._left(initial, expected + accepted.upper)
        most = None if accepted.lower is None else self._left(initial, expected + accepted.lower)
        if least is not None:  # the largest loss leaves the least
            count = ceil(least / d) if ends_pass[1] else floor(least / d) + 1
            low = float((count - Fraction(1, 2)) * d - self.final)
        if most is not None:
            count = floor(most / d) if ends_pass[0] else ceil(most / d) - 1
            high = float((count + Fraction(1, 2)) * d - self.final)
        return low, high

    def _left(self, initial: Fraction, lost: Fraction) -> Fraction | None:
        """The final reading with that loss; None: any, as no reading makes so small a dry loss."""
        if self.basis == "wet":
            return initial * (1 - lost / 100)
        return initial / (1 + lost / 100) if lost > -100 else None

    def _rest(self, step: Decimal, varying: float) -> float:
        """The variance of the final reading, in g², that is neither repeatability nor rounding."""
        at = slopes(self.initial, self.final, self.basis)
        both = float(at.initial) ** 2 + float(at.final) ** 2
        rounding = (both + float(at.common) ** 2) * float(step) ** 2 / 12
        return max(0.0, varying**2 - both * self.repeatability**2 - rounding) / float(at.final) ** 2
