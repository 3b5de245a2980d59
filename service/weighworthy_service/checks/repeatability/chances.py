"""How likely a scatter passes: what limits of a standard deviation, or of a range, let through.

The readings of a perfect balance would all be equal, and its scatter is what is looked for. So the
balance in order is one that scatters as stated of it, or as rounding makes it (0.41 d); one that is
off scatters by so much as it is off, if that is more. Readings count as normal, whatever the steps.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import inf
from typing import Final

import numpy as np
from scipy.special import gammainc, ndtr

from weighworthy_service.checks.repeatability.scatter import FLOOR, PER_SCATTER
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.risk import Passing, Values

# Of the integral over the smallest of several readings; 1e-19 lies beyond nine deviations.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(160)
_REACH: Final = 9.0


@dataclass(frozen=True, slots=True)
class Scattering:
    """A criterion that grows with the scatter: `per` of it, below a limit as `below` tells.

    `good`: the scatter of a balance in order, in g; `below`: from a limit over the scatter to the
    probability of staying below it.
    """

    good: float
    below: Callable[[Values], Values]
    least: Decimal
    per: float = 1.0

    def has_grid(self, _step: Decimal) -> bool:
        """It has chances of its own, whatever the steps."""
        return True

    def rounding(self, step: Decimal) -> Fraction:
        """What rounding alone makes of it."""
        return Fraction(self.least) * Fraction(step)

    def passes(
        self, accepted: Interval, _ends: tuple[bool, bool], _step: Decimal, _varying: float
    ) -> Passing:
        """By how far the balance is off, in the unit of the criterion."""
        limit = inf if accepted.upper is None else float(accepted.upper)

        def passing(off: Values) -> Values:
            scatter = np.maximum(np.abs(off) / self.per, self.good)
            return self.below(np.maximum(limit, 0.0) / self.per / scatter)

        return passing


def chances(instrument: Instrument, n: int) -> dict[str, Scattering]:
    """Of the criteria of n placings on this balance, by their names."""
    stated, least = instrument.repeatability or Decimal(0), FLOOR
    good = float(max(stated, FLOOR * instrument.scale_interval))

    def deviation(ratio: Values) -> Values:
        """P(s ≤ r·σ) = P(χ² ≤ ν·r²)."""
        found: Values = gammainc((n - 1) / 2, (n - 1) * ratio**2 / 2)
        return found

    def spread(ratio: Values) -> Values:
        """P(range ≤ r·σ) = n∫φ(z)(Φ(z + r) - Φ(z))ⁿ⁻¹dz."""
        z = _REACH * _NODES
        density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
        inside = ndtr(z + np.asarray(ratio)[..., None]) - ndtr(z)
        found: Values = np.sum(_REACH * _WEIGHTS * n * density * inside ** (n - 1), axis=-1)
        return found

    per = float(PER_SCATTER)
    return {
        "standard_deviation": Scattering(good, deviation, least),
        # Equal readings have none.
        "range": Scattering(good, spread, Decimal(0)),
        "smallest_net_mass": Scattering(good, deviation, PER_SCATTER * least, per),
    }
