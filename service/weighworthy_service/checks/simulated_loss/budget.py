"""The uncertainty budget of a simulated loss, settled but for what the readings decide."""

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import partial
from math import fsum, inf, sqrt
from typing import Final, NamedTuple

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.contributions import Sources, hot_zero, root_sum, weight_rows
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Outcome, Reference
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import (
    BudgetRow,
    Estimate,
    Uncertainty,
    combine_contributions,
    estimates,
    spread,
)

_OWN: Final = ("digitisation", "repeatability")


class LossBudget:
    """Inputs of the error of a loss. Both indications refer to one zero, taken before the run.

    Their uncertainties are settled; the readings decide some of their sensitivities, of a loss from
    masses those at the positions `varying`.
    """

    def __init__(self, check: SimulatedLossCheck, reference: Reference, terms: Terms) -> None:
        here = check.circumstances
        sources = Sources(here.instrument)
        weights = list(weight_rows(reference.weights, here, terms.weights_correlation, "%"))
        self._weights = [row.sensitivity for row in weights]
        # Of a load of several weights the nominal mass; one weight lies in the centre.
        self._built_up = [
            float(here.nominal(part.load)) if len(part.load) > 1 else 0.0
            for part in (check.initial, check.final)
        ]
        heat = [] if check.took_heat is False else list(hot_zero(here.instrument))
        self._heat = [row.sensitivity for row in heat]
        self._scatters = sources.scatter is not None
        self._off_centre = sources.off_centre is not None
        before = [sources.loads, sources.zeros, sources.scatter, *weights, sources.off_centre]
        self._from_masses = Inputs([*before, *heat])
        self._from_display = Inputs([*before, _display_input(here), *heat])
        settled = [id(row) for row in weights]
        self.varying = [i for i, row in enumerate(self._from_masses.rows) if id(row) not in settled]

        self._near = Near(partial(self._acting, self._from_masses), self._from_masses.estimated)

    def acting(self, found: Outcome) -> "Acting":
        """All inputs as they act in one run."""
        inputs = self._from_display if found.from_masses is None else self._from_masses
        return self._acting(inputs, *found.slopes())

    def acting_at(self, slopes: tuple[float, float, float]) -> "Acting":
        """The same of a loss from masses, by its slopes."""
        return self._acting(self._from_masses, *slopes)

    def near(self, slopes: tuple[float, float, float]) -> tuple[float, float]:
        """Standard uncertainty and degrees of freedom of a loss from masses, by its slopes.

        As `Acting.combined` has them but for the last digits of floats, in a fraction of the time.
        """
        return self._near.spread(slopes[0], slopes[1])

    def _acting(self, inputs: "Inputs", initial: float, final: float, common: float) -> "Acting":
        sensitivities = self._sensitivities(inputs, initial, final, common)
        each = zip(sensitivities, inputs.uncertainties, strict=True)
        return Acting(inputs, sensitivities, [abs(c) * u for c, u in each])

    def _sensitivities(
        self, inputs: "Inputs", initial: float, final: float, common: float
    ) -> list[float]:
        of_loads = root_sum((initial, final))
        acting = [of_loads, -common]
        if self._scatters:
            acting.append(of_loads)
        acting += self._weights
        if self._off_centre:
            start, end = self._built_up
            acting.append(root_sum((initial * start, final * end)))
        if inputs is self._from_display:
            acting.append(1.0)
        if self._heat:
            acting += [sign * final for sign in self._heat]
        return acting


class Inputs:
    """Inputs in the order of the budget, and what combining them takes.

    `own`: positions of those that differ from reading to reading.
    """

    def __init__(self, stated: Sequence[BudgetRow | None]) -> None:
        self.rows = [row for row in stated if row is not None]
        self.uncertainties = [row.standard_uncertainty for row in self.rows]
        self.estimated = estimates(self.rows)
        self.own = [i for i, row in enumerate(self.rows) if row.source.startswith(_OWN)]
        self.own_estimated = estimates([self.rows[i] for i in self.own])


class Acting(NamedTuple):
    """Inputs with their sensitivities and contributions in one run."""

    inputs: Inputs
    sensitivities: Sequence[float]
    contributions: Sequence[float]

    def combined(self, coverage: Decimal) -> Uncertainty:
        """The uncertainty, without its rows; `coverage` in %."""
        return combine_contributions(self.contributions, self.inputs.estimated, coverage)

    def own(self) -> tuple[float, float]:
        """Standard uncertainty and degrees of freedom of what differs from reading to reading."""
        mine = [self.contributions[i] for i in self.inputs.own]
        return spread(mine, self.inputs.own_estimated)

    def rows(self) -> tuple[BudgetRow, ...]:
        """Those that act at all, as rows of a budget."""
        each = zip(self.sensitivities, self.inputs.rows, strict=True)
        return tuple([row if c == row.sensitivity else row.acting(c) for c, row in each if c])


class Near:
    """The spread of a loss as a function of two slopes, without going through the inputs.

    Squared contributions are quadratic forms of the slopes, or rest on none. So their sum is one,
    too, and four points of the budget itself tell its coefficients.
    """

    def __init__(self, acting: Callable[..., Acting], estimated: Sequence[Estimate]) -> None:
        points = [acting(*slopes).contributions for slopes in _PROBES]
        forms = [_form([c**2 for c in each]) for each in zip(*points, strict=True)]
        self._variance = tuple([fsum(parts) for parts in zip(*forms, strict=True)])
        self._estimated = [(*forms[i], degrees) for i, degrees in estimated]

    def spread(self, initial: float, final: float) -> tuple[float, float]:
        """Standard uncertainty and effective degrees of freedom, as `spread` of a budget."""
        of_initial, of_final, of_both = initial * initial, final * final, initial * final
        rest, i, f, both = self._variance
        variance = rest + i * of_initial + f * of_final + both * of_both
        quotient = 0.0
        for rest, i, f, both, degrees in self._estimated:
            part = rest + i * of_initial + f * of_final + both * of_both
            quotient += part * part / degrees
        return sqrt(variance), variance * variance / quotient if quotient else inf


# Slopes to initial and final mass and to what both share.
_PROBES: Final = ((0.0, 0.0, 0.0), (1.0, 0.0, 1.0), (0.0, 1.0, 1.0), (1.0, 1.0, 2.0))


def _form(squares: Sequence[float]) -> tuple[float, float, float, float]:
    """The coefficients of a form by its values at the probes: rest, i², f², i·f."""
    rest, i, f, both = squares
    return rest, i - rest, f - rest, both - i - f + rest


def display_reach(circumstances: Circumstances) -> Fraction:
    """How far a displayed loss may lie from the computed one through its own rounding, in %.

    Half a step; a whole one where the display cuts off, as nobody adds half a step to it.
    """
    instrument = circumstances.instrument
    step = Fraction(instrument.loss_interval or 0)
    return step if instrument.loss_rounding == "down" else step / 2


def _display_input(circumstances: Circumstances) -> BudgetRow:
    width = float(display_reach(circumstances)) * 2
    source = "digitisation of the displayed loss"
    return BudgetRow(source, "rectangular", width / sqrt(12), "%", 1.0, varies=True)
