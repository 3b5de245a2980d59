"""The losses that runs found, their scatter, and what the balance brings into them."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from math import sqrt
from typing import Any, Final

from weighworthy_service.checks.contributions import digitisation, repeatability, root_sum
from weighworthy_service.checks.reference_material.check import (
    MaterialRun,
    ReferenceMaterialCheck,
)
from weighworthy_service.metrology.budget import BudgetRow, estimates, spread
from weighworthy_service.metrology.loss import Slopes, loss, slopes
from weighworthy_service.metrology.scatter import interval_factors, relative_uncertainty
from weighworthy_service.metrology.spread import mean, root, variance

_MATERIAL: Final = "stated loss of the material"


class Losses:
    """Losses of all runs in %, exact; `mean` and `bias` too."""

    def __init__(self, check: ReferenceMaterialCheck) -> None:
        self.check, self.instrument = check, check.circumstances.instrument
        self.found = [self._loss(run) for run in check.runs]
        self.slopes = [self._slopes(run) for run in check.runs]
        self.mean = mean(self.found)
        self.bias = self.mean - Fraction(check.material.stated_loss)

    @property
    def n(self) -> int:
        """How many runs."""
        return len(self.found)

    def _loss(self, run: MaterialRun) -> Fraction:
        if run.initial_mass is None or run.final_mass is None:
            return Fraction(run.displayed_loss or 0)
        return loss(Fraction(run.initial_mass), Fraction(run.final_mass), self.check.basis)

    def _slopes(self, run: MaterialRun) -> Slopes | None:
        if run.initial_mass is None or run.final_mass is None:
            return None
        return slopes(Fraction(run.initial_mass), Fraction(run.final_mass), self.check.basis)

    @cached_property
    def variance(self) -> Fraction | None:
        """s² of single losses; None of one run."""
        return variance(self.found) if self.n > 1 else None

    @property
    def deviation(self) -> Decimal | None:
        """s of single losses in %."""
        return None if self.variance is None else root(self.variance)

    @property
    def interval(self) -> tuple[float, float] | None:
        """Two-sided 95 % interval of the true standard deviation, for normal losses."""
        if self.deviation is None:
            return None
        factors, s = interval_factors(self.n - 1), float(self.deviation)
        return s * factors.lower, s * factors.upper

    @cached_property
    def pooled(self) -> tuple[Fraction, int] | None:
        """s² of single losses with its degrees of freedom, that of earlier runs taken in.

        JCGM 100:2008, 4.2.4 and H.3.6: weighted by degrees of freedom. None: nothing is known.
        """
        earlier, own = self.check.spread, self.variance
        parts = [] if own is None else [(own, self.n - 1)]
        if earlier is not None:
            parts.append((Fraction(earlier.standard_deviation) ** 2, earlier.observations - 1))
        if not parts:
            return None
        degrees = sum(nu for _, nu in parts)
        return sum((s2 * nu for s2, nu in parts), Fraction(0)) / degrees, degrees

    def rows_of_bias(self) -> list[BudgetRow]:
        """Material, scatter of the runs, rounding of what was read."""
        rows = []
        stated = self.check.material.uncertainty
        if stated is not None:
            rows.append(
                BudgetRow("stated loss of the material", "normal", float(stated), "%", -1.0)
            )
        if self.pooled is not None:
            square, degrees = self.pooled
            if square:
                share = 1 / sqrt(self.n)
                s = float(root(square))
                source = "scatter between runs"
                rows.append(BudgetRow(source, "normal", s, "%", share, degrees, varies=True))
        elif (only := self.slopes[0]) is not None:
            rows += repeatability(
                self.instrument, [root_sum([float(only.initial), float(only.final)])]
            )
        return [*rows, *self.rounding(self.n)]

    def rows_of_scatter(self) -> list[BudgetRow]:
        """How few runs s rests on, and rounding, which may hide it or be taken for it."""
        rows = []
        s = float(self.deviation or 0)
        if s:
            u = s * relative_uncertainty(self.n)
            source, degrees = "scatter of so few runs", self.n - 1
            rows.append(BudgetRow(source, "normal", u, "%", 1.0, degrees, varies=True))
        return [*rows, *self.rounding(sqrt(self.n))]

    def rounding(self, per: float) -> list[BudgetRow]:
        """d/√12 of each mass and of the zero that both masses of a run share; the display's step.

        Displayed losses of one material may all be rounded alike, so that theirs does not average
        out (JCGM 100:2008, F.2.2.1). `per`: what the root sum of all runs is divided by.
        """
        weighed = [s for s in self.slopes if s is not None]
        loads = root_sum([float(c) for s in weighed for c in (s.initial, s.final)])
        zeros = root_sum([-float(s.common) for s in weighed])
        return [
            *digitisation("loaded readings", self.instrument, [loads / per]),
            *digitisation("zero readings", self.instrument, [zeros / per]),
            *self._display(),
        ]

    def _display(self) -> list[BudgetRow]:
        shown, step = self.slopes.count(None), self.instrument.loss_interval
        if not shown or step is None:
            return []
        # A display that cuts off hides up to a whole step, and not half of one.
        parts = 3 if self.instrument.loss_rounding == "down" else 12
        u, share = float(step) / sqrt(parts), shown / self.n
        source = "digitisation of the displayed loss"
        return [BudgetRow(source, "rectangular", u, "%", share, varies=True)]

    def as_results(self) -> list[dict[str, Any]]:
        """What `results` say of each run."""
        stated = Fraction(self.check.material.stated_loss)
        return [
            {
                "index": i,
                "evaluated_from": "masses" if run.has_masses else "displayed-loss",
                "initial_mass": run.initial_mass if run.has_masses else None,
                "loss": found,
                "deviation": found - stated,
                "recovery": 100 * found / stated,
            }
            for i, (run, found) in enumerate(zip(self.check.runs, self.found, strict=True))
        ]


def own_uncertainty(rows: Sequence[BudgetRow]) -> tuple[float, float]:
    """Standard uncertainty and degrees of freedom of what differs from check to check."""
    mine = [row for row in rows if row.source != _MATERIAL]
    return spread([row.contribution for row in mine], estimates(mine))
