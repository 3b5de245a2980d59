"""What the placings of one load come to: their scatter, what it rests on, and how it is drawn out.

Exact but for roots, which have 34 digits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from math import sqrt
from typing import Final

from weighworthy_service.checks.contributions import digitisation
from weighworthy_service.checks.placings import Net
from weighworthy_service.metrology import minimum_mass, spread
from weighworthy_service.metrology.budget import BudgetRow, t_quantile
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.scatter import interval_factors, relative_uncertainty

# USP <41>: twice the standard deviation is at most this share, in %, of the smallest net mass.
FACTOR: Final = 2
SHARE: Final = Decimal("0.10")
FLOOR: Final = minimum_mass.USP_41_FLOOR
OBSERVATIONS: Final = minimum_mass.USP_41_OBSERVATIONS
# From standard deviation to smallest net mass.
PER_SCATTER: Final = minimum_mass.USP_41_FACTOR


@dataclass(frozen=True)
class Scatter:
    """The scatter of two or more net indications of a balance, in g."""

    nets: Sequence[Net]
    instrument: Instrument

    @property
    def n(self) -> int:
        """How many placings there are."""
        return len(self.nets)

    @cached_property
    def values(self) -> list[Decimal]:
        """The net indications."""
        return [net.value for net in self.nets]

    @cached_property
    def mean(self) -> Fraction:
        """Their mean."""
        return spread.mean(self.values)

    @cached_property
    def variance(self) -> Fraction:
        """s², in g²."""
        return spread.variance(self.values)

    @cached_property
    def standard_deviation(self) -> Decimal:
        """s."""
        return spread.root(self.variance)

    @cached_property
    def floor(self) -> Decimal:
        """The least scatter that steps of d let anybody claim."""
        return minimum_mass.usp_41_floor(self.instrument.scale_interval)

    @property
    def unresolved(self) -> bool:
        """Whether s lies below that, so that it is taken instead."""
        return self.standard_deviation < self.floor

    @property
    def claimed(self) -> Decimal:
        """The larger of both."""
        return max(self.standard_deviation, self.floor)

    @cached_property
    def extremes(self) -> tuple[Net, Net]:
        """A placing that shows most and another that shows least."""
        return (
            max(self.nets, key=lambda net: net.value),
            min(reversed(self.nets), key=lambda net: net.value),
        )

    @property
    def range(self) -> Decimal:
        """Largest minus smallest net indication."""
        most, least = self.extremes
        return EXACT.subtract(most.value, least.value)

    @property
    def zeros_of_range(self) -> int:
        """How many zeros that comes from; one that both were read against cancels."""
        most, least = (net.zero for net in self.extremes)
        return 0 if most == least else len({most, least} - {None})

    @property
    def smallest_net_mass(self) -> Decimal:
        """Twice the claimed scatter is the share of it that may be."""
        return minimum_mass.usp_41(self.standard_deviation, self.instrument.scale_interval)

    @cached_property
    def interval(self) -> tuple[float, float]:
        """In which the standard deviation of the balance lies, two-sided 95 %."""
        s, factors = float(self.standard_deviation), interval_factors(self.n - 1)
        return s * factors.lower, s * factors.upper

    @property
    def interval_of_net_mass(self) -> tuple[float, float]:
        """The same of the smallest net mass; below the floor, that of the floor."""
        low, high = (max(end, float(self.floor)) * float(PER_SCATTER) for end in self.interval)
        return low, high

    def rows(self, per_scatter: float = 1.0) -> list[BudgetRow]:
        """The budget of s, or of that many times s: how few placings there are, and rounding."""
        s, rows = float(self.standard_deviation), []
        if s:
            u_s = s * relative_uncertainty(self.n)
            rows.append(
                BudgetRow(
                    "scatter of the placings",
                    "normal",
                    u_s,
                    "g",
                    per_scatter,
                    self.n - 1,
                    varies=True,
                )
            )
        loads, zeros = (
            per_scatter * sqrt(share) for share in (self.share_of_loads, self.share_of_zeros)
        )
        return [*rows, *self._rounding(loads, zeros)]

    @property
    def rows_of_range(self) -> list[BudgetRow]:
        """The budget of the range: two roundings, and those of zeros unless shared."""
        return self._rounding(sqrt(2), sqrt(self.zeros_of_range))

    def _rounding(self, loads: float, zeros: float) -> list[BudgetRow]:
        return [
            *digitisation("loaded readings", self.instrument, [loads]),
            *digitisation("zero readings", self.instrument, [zeros]),
        ]

    @property
    def share_of_loads(self) -> Fraction:
        """Squared sensitivity of s to the rounding of loaded readings.

        Σ(x - mean)²/((n - 1)s)² = 1/(n - 1) while roundings are independent. Below the floor they
        may be alike or opposite all along: then s is off by their own standard deviation.
        """
        return Fraction(1) if self.unresolved else Fraction(1, self.n - 1)

    @cached_property
    def share_of_zeros(self) -> Fraction:
        """The same of zeros: what several placings share acts with the sum of their deviations."""
        groups: dict[int, list[Fraction]] = {}
        for net in self.nets:
            if net.zero is not None:
                groups.setdefault(net.zero, []).append(Fraction(net.value) - self.mean)
        n = self.n
        if self.unresolved:
            sizes = [len(group) for group in groups.values()]
            return Fraction(n * sum(sizes) - sum(size**2 for size in sizes), n * (n - 1))
        squares = sum((sum(group, Fraction(0)) ** 2 for group in groups.values()), Fraction(0))
        return squares / ((n - 1) ** 2 * self.variance)

    @cached_property
    def drift(self) -> "Drift":
        """The straight line through the net indications in their order."""
        return Drift.of(self.values)


@dataclass(frozen=True, slots=True)
class Drift:
    """Change from placing to placing, in g, with its standard uncertainty; None: two have none.

    `ratio`: of both; None: no placing is off the line. `critical`: what it exceeds by chance in one
    of twenty sittings without drift. `residual`: the standard deviation about the line.
    """

    slope: Fraction
    uncertainty: Decimal | None
    residual: Decimal | None
    ratio: float | None
    critical: float | None

    @classmethod
    def of(cls, values: Sequence[Decimal]) -> "Drift":
        """Of two or more values, by least squares (JCGM 100:2008, H.3)."""
        line = spread.slope([Decimal(i) for i in range(len(values))], values)
        if line.residual is None:
            return cls(line.value, None, None, None, None)
        u = spread.root(line.residual / line.extent)
        ratio = abs(float(line.value)) / float(u) if u else None
        critical = t_quantile(0.975, len(values) - 2)
        return cls(line.value, u, spread.root(line.residual), ratio, critical)

    @property
    def significant(self) -> bool:
        """Whether it is more than chance makes of a steady balance."""
        if self.critical is None:
            return False
        return bool(self.slope) if self.ratio is None else self.ratio > self.critical
