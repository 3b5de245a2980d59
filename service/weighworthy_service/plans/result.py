"""What the balance brings into the uncertainty of one moisture result. Masses in g, losses in %.

The sample is weighed before and after against one zero, as the weights of a simulated loss are, and
its result has the same sensitivities; there are no reference weights in it. At a fixed loss each
sensitivity is a number over the initial mass m, so that u = A/m with an A that m has no part in.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.contributions import Sources, hot_zero, root_sum
from weighworthy_service.metrology.budget import (
    BudgetRow,
    coverage_factor,
    estimates,
    spread,
)
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.loss import Basis, slopes


@dataclass(frozen=True, slots=True)
class Result:
    """A moisture result: its loss in %, how it is told, and whether the run is hot."""

    loss: Decimal
    basis: Basis = "wet"
    heating: bool = True

    def final_share(self) -> Fraction:
        """What is left of the initial mass, as a share of it."""
        lost = Fraction(self.loss) / 100
        return 1 - lost if self.basis == "wet" else 1 / (1 + lost)


@dataclass(frozen=True, slots=True)
class ResultUncertainty:
    """`rows` are those of a sample of 1 g; `per_mass` is A in %·g, so that u = A/m."""

    rows: tuple[BudgetRow, ...]
    per_mass: float
    degrees_of_freedom: float
    coverage_factor: float

    @property
    def expanded_per_mass(self) -> float:
        """k·A in %·g."""
        return self.coverage_factor * self.per_mass

    def expanded(self, mass: float) -> float:
        """U in % of a sample of `mass` g, not rounded."""
        return self.expanded_per_mass / mass

    def smallest_mass(self, allowed: float) -> float:
        """The mass at which U is exactly what is allowed, in g: kA/m falls as m grows."""
        return self.expanded_per_mass / allowed


def result_uncertainty(
    instrument: Instrument, result: Result, coverage: Decimal
) -> ResultUncertainty:
    """Digitisation of both readings and of their zero, repeatability, and the hot zero."""
    at = slopes(Fraction(1), result.final_share(), result.basis)
    initial, final, common = float(at.initial), float(at.final), float(at.common)
    both, sources = root_sum((initial, final)), Sources(instrument)
    rows = [sources.loads.acting(both), sources.zeros.acting(-common)]
    if sources.scatter is not None:
        rows.append(sources.scatter.acting(both))
    if result.heating:
        rows += [row.acting(row.sensitivity * final) for row in hot_zero(instrument)]
    acting = [row for row in rows if row.sensitivity]
    per_mass, degrees = spread([row.contribution for row in acting], estimates(acting))
    return ResultUncertainty(tuple(acting), per_mass, degrees, coverage_factor(degrees, coverage))


def at_mass(rows: Sequence[BudgetRow], mass: float) -> list[BudgetRow]:
    """The rows of a sample of 1 g as they are of one of `mass` g."""
    return [row.acting(row.sensitivity / mass) for row in rows]
