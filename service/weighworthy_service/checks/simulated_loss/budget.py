"""The uncertainty budget of a simulated loss, settled but for what the readings decide."""

from collections.abc import Iterator
from fractions import Fraction
from math import sqrt

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.contributions import Sources, weight_rows
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Outcome, Reference
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow


class LossBudget:
    """Rows of the error of a loss. Both indications refer to one zero, taken before the run."""

    def __init__(self, check: SimulatedLossCheck, reference: Reference, terms: Terms) -> None:
        here = check.circumstances
        self._sources = Sources(here.instrument)
        self._weights = tuple(weight_rows(reference.weights, here, terms.weights_correlation, "%"))
        # Of a load of several weights the nominal mass; of others nothing, as they lie central.
        self._built_up = [
            float(here.nominal(part.load)) if len(part.load) > 1 else 0.0
            for part in (check.initial, check.final)
        ]
        width = float(display_reach(here)) * 2
        source = "digitisation of the displayed loss"
        self._display = BudgetRow(source, "rectangular", width / sqrt(12), "%", 1.0)
        self._heat = () if check.took_heat is False else tuple(_heat_inputs(here))

    def rows(self, found: Outcome) -> list[BudgetRow]:
        """All rows, for one run."""
        to_initial, to_final, per = found.slopes
        slopes = (to_initial / per, to_final / per)
        common = (to_initial + to_final) / per
        built_up = [c * load for c, load in zip(slopes, self._built_up, strict=True)]
        rows = self._sources.rows(slopes, (-common,), self._weights, built_up)
        if found.from_masses is None:
            rows.append(self._display)
        rows += [row.acting(row.sensitivity * slopes[1]) for row in self._heat]
        return rows


def display_reach(circumstances: Circumstances) -> Fraction:
    """How far a displayed loss may lie from the computed one through its own rounding, in %.

    Half a step; a whole one where the display cuts off, as nobody adds half a step to it.
    """
    instrument = circumstances.instrument
    step = Fraction(instrument.loss_interval or 0)
    return step if instrument.loss_rounding == "down" else step / 2


def _heat_inputs(circumstances: Circumstances) -> Iterator[BudgetRow]:
    """With the final indication, or, as a correction is taken off it, against it."""
    instrument = circumstances.instrument
    if instrument.hot_zero_drift:
        u = float(instrument.hot_zero_drift) / sqrt(3)
        yield BudgetRow("hot zero drift", "rectangular", u, "g", 1.0)
    known = instrument.hot_zero_correction
    if known is not None and known.standard_uncertainty:
        u = float(known.standard_uncertainty)
        yield BudgetRow("hot zero correction", "normal", u, "g", -1.0)
