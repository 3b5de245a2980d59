"""What several blank runs say together, and what other checks and results may take from them."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any, Final

from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.blank_run.reading import RunRead, moisture_effect
from weighworthy_service.checks.contributions import digitisation, repeatability
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import (
    BudgetRow,
    Uncertainty,
    combine,
    standard_uncertainty,
    stated,
)
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.rounding import rounded_to_place
from weighworthy_service.metrology.spread import mean, standard_deviation

# Sample masses in g, beside the usual one, for which the effect of the change is told.
MASSES: Final = tuple(map(Decimal, ("1", "2", "3", "5", "10", "20", "50", "100")))
# Common practice, no source: of fewer runs nobody can say that they all shift alike.
FEWEST_FOR_CORRECTION: Final = 3


class Together:
    """All runs of a check. `mean` in g; `deviation`: of single changes, None of one run."""

    def __init__(self, check: BlankRunCheck, runs: Sequence[RunRead], terms: Terms) -> None:
        changes = [run.change for run in runs]
        self._check, self._instrument = check, check.circumstances.instrument
        self.runs = runs
        self.mean = mean(changes)
        self.deviation = standard_deviation(changes) if len(changes) > 1 else None
        self.largest = max(runs, key=lambda run: run.change.copy_abs())
        self.uncertainty = combine(self._rows(1 / sqrt(len(runs))), terms.decision.coverage)

    def _rows(self, share: float) -> list[BudgetRow]:
        """Of a mean of changes; `share`: how much of the scatter of single ones is in it.

        Runs that begin on one zero and end a few steps from it may all be rounded alike, so that
        rounding does not average out (JCGM 100:2008, F.2.2.1).
        """
        return [
            *digitisation("zero readings", self._instrument, [1, -1]),
            *self._scatter(share),
        ]

    def _scatter(self, share: float) -> list[BudgetRow]:
        """Of the runs, or the stated repeatability where that is larger or there is one run."""
        stated_s = self._instrument.repeatability
        if self.deviation is None or (stated_s is not None and stated_s > self.deviation):
            return list(repeatability(self._instrument, [share]))
        source, degrees = "scatter between runs", len(self.runs) - 1
        s = float(self.deviation)
        return [BudgetRow(source, "normal", s, "g", share, degrees, varies=True)]

    @property
    def bound(self) -> Decimal:
        """No run changed by more: the largest change, and what rounding may hide of it."""
        return EXACT.add(self.largest.change.copy_abs(), self._instrument.scale_interval)

    @property
    def of_next_run(self) -> Decimal:
        """Standard uncertainty of the mean as the change of one more run, as it is stated."""
        return stated(standard_uncertainty(self._rows(sqrt(1 + 1 / len(self.runs)))))

    @property
    def stands_out(self) -> bool:
        """Whether the runs agree on a shift: enough of them, and a mean beyond its uncertainty."""
        enough = len(self.runs) >= FEWEST_FOR_CORRECTION
        return enough and abs(self.mean) > self.uncertainty.expanded

    def as_result(self) -> dict[str, Any]:
        """What `results` say of all runs."""
        sample_mass = self._check.sample_mass
        return {
            "mean_change": {"value": self.mean, **_as_result(self.uncertainty)},
            "standard_deviation": self.deviation,
            "largest_change": {"value": self.largest.change, "index": self.largest.index},
            "effects": [
                {
                    "sample_mass": mass,
                    "moisture_effect": moisture_effect(self.largest.change, mass),
                }
                for mass in self._masses(sample_mass)
            ],
            "declare": self._declare(),
        }

    def _masses(self, usual: Decimal) -> list[Decimal]:
        most = self._instrument.capacity
        return [m for m in MASSES if m != usual and (most is None or m <= most)]

    def _declare(self) -> dict[str, Any]:
        uncertainty = self.of_next_run
        # In steps of the last digit that its uncertainty has (JCGM 100:2008, 7.2.6).
        last = Decimal(1).scaleb(int(uncertainty.as_tuple().exponent))
        shift = rounded_to_place(Fraction(self.mean), last)
        return {
            "recommended": "hot_zero_correction" if self.stands_out else "hot_zero_drift",
            "hot_zero_drift": self.bound,
            "hot_zero_correction": {"value": shift, "standard_uncertainty": uncertainty},
            "message": _CORRECTION if self.stands_out else _BOUND,
        }


_CORRECTION: Final = (
    "The runs shift alike: declare hot_zero_correction, which takes the mean out of results and "
    "leaves its uncertainty; hot_zero_drift beside it would count the same shift twice."
)
_BOUND: Final = (
    "The runs do not show one shift beyond its uncertainty: declare hot_zero_drift, a bound that "
    "covers each of them and corrects nothing."
)


def _as_result(found: Uncertainty) -> dict[str, Any]:
    return {
        "standard_uncertainty": found.standard,
        "expanded_uncertainty": found.expanded,
        "coverage_factor": found.coverage_factor,
        "degrees_of_freedom": found.degrees_of_freedom,
        "budget": [
            {
                "source": row.source,
                "distribution": row.distribution,
                "standard_uncertainty": row.standard_uncertainty,
                "unit": row.unit,
                "sensitivity": row.sensitivity,
                "contribution": row.contribution,
                "degrees_of_freedom": row.degrees_of_freedom,
            }
            for row in found.rows
        ],
    }
