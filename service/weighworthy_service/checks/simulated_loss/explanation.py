"""A simulated loss reckoned by hand: loss, error, budget, verdict, and what it reveals."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from weighworthy_service.checks.explaining.budget import (
    Input,
    digitisation,
    off_centre,
    root,
    scatter,
)
from weighworthy_service.checks.explaining.concluding import conclude
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import sqrt
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.judging import Case, Limited, Places, explain_case
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import FLOAT_DIGITS, Sheet, Step
from weighworthy_service.checks.explaining.weights import weight_inputs
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.explained_reasons import (
    explain_display,
    explain_reasons,
)
from weighworthy_service.checks.simulated_loss.explained_reveals import explain_reveals
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.loss import Basis, loss_ratio, slope_ratios


@dataclass(frozen=True, slots=True)
class Slopes:
    """Sensitivities of a loss to initial and final mass and to what both share; where it ends."""

    initial: Figure
    final: Figure
    common: Figure
    end: Figure


def explain(check: SimulatedLossCheck, terms: Terms, evaluation: Evaluation) -> Sequence[Step]:
    """The sheet of one evaluated check."""
    return _Explaining(check, terms, evaluation).steps()


class _Explaining:
    def __init__(self, check: SimulatedLossCheck, terms: Terms, evaluation: Evaluation) -> None:
        self.sheet = Sheet()
        self.inputs = Inputs(self.sheet, check.circumstances)
        self.check, self.terms, self.evaluation = check, terms, evaluation
        self.reasons = Reasons(self.inputs, evaluation.findings)
        self.from_masses: Figure | None = None
        self.shift: Figure | None = None
        if check.hot_zero_shift:
            self.shift = self.inputs.instrument("shift", "hot_zero_correction", "value")

    def steps(self) -> Sequence[Step]:
        check, criterion = self.check, self.evaluation.criteria[0]
        start = self.inputs.mass(check.initial.load, "/results/initial_mass").named("m_start")
        end = self.inputs.mass(check.final.load, "/results/final_mass").named("m_end")
        expected = self._loss("expected loss", "L_ref", start, end, "/results/expected_loss")
        of_weights = self._slopes("expected loss", start, end)
        loss, slopes = self._value(start, end, of_weights)
        error = self.sheet.step(
            "error of the loss",
            "E",
            loss - expected,
            "%",
            gives=["/criteria/0/value", "/results/error"],
        )
        weights = self._weights(of_weights)
        load = self.inputs.nominal(check.initial.load, "/criteria/0/load")
        judged = criterion.lower_limit is not None or criterion.upper_limit is not None
        rows = self._rows(slopes, weights)
        case = Case(
            criterion.name,
            "the error",
            error,
            rows,
            "%",
            judged,
            load,
            criterion.load,
            criterion.key,
            weights=weights,
        )
        places = Places("/criteria/0")
        said = explain_case(self.inputs, case, self.terms, places, self.reasons)
        self._findings(expected, slopes, said.limited)
        conclude(self.sheet, [] if said.verdict is None else [said.verdict], self.evaluation)
        lines = self.evaluation.results["reveals"]
        by_name: dict[str, Formula] = {
            "zero-change": slopes.final,
            "common-zero": slopes.common,
            "gain-change": slopes.final * slopes.end,
            "departure-at-final": slopes.final,
            **self._of_weights(weights),
        }
        explain_reveals(self.inputs, check, lines, by_name, found=said.found, limited=said.limited)
        return self.sheet.steps

    def _findings(self, expected: Figure, slopes: Slopes, limited: Limited | None) -> None:
        inputs, check, reasons = self.inputs, self.check, self.reasons
        reasons.of_the_sitting((*check.initial.load, *check.final.load), self.terms)
        explain_reasons(inputs, check, self.terms, reasons, expected=expected, limited=limited)
        each = (slopes.initial, slopes.final, slopes.common)
        explain_display(inputs, check, reasons, from_masses=self.from_masses, slopes=each)

    def _value(self, start: Figure, end: Figure, of_weights: Slopes) -> tuple[Figure, Slopes]:
        """The loss that is judged, and its sensitivities."""
        check = self.check
        displayed = None
        if check.displayed_loss is not None:
            shown = reading("D", check.displayed_loss, "displayed_loss")
            gives = ["/results/displayed_loss"]
            displayed = self.sheet.step("displayed loss", "D", shown, "%", gives=gives)
        if check.initial.indication is None or check.final.indication is None:
            assert displayed is not None  # noqa: S101  readings without either are no check
            return self._from_display(displayed, of_weights)
        first = reading("I0", check.initial.indication, "initial", "indication")
        last = reading("I1", check.final.indication, "final", "indication")
        here = "/results/loss_from_masses"
        if self.shift is None:
            loss = self._loss("loss from the masses", "L", first, last, here, "/results/loss")
            self.from_masses = loss
            self._no_correction()
            return loss, self._slopes("loss", first, last)
        raw = self._loss("loss from the masses", "L_raw", first, last, here)
        self.from_masses = raw
        what = "final indication without the known shift of the hot zero"
        last = self.sheet.step(what, "I1_cold", last - self.shift, "g")
        loss = self._loss("loss without that shift", "L", first, last, "/results/loss")
        gives = ["/results/hot_zero_correction"]
        self.sheet.step("correction for that shift", "corr", loss - raw, "%", gives=gives)
        return loss, self._slopes("loss", first, last)

    def _from_display(self, displayed: Figure, of_weights: Slopes) -> tuple[Figure, Slopes]:
        if self.shift is None:
            self._no_correction()
            return self.sheet.also(displayed, "/results/loss").named("L"), of_weights
        correction = self.sheet.step(
            "correction for the known shift of the hot zero",
            "corr",
            -of_weights.final * self.shift,
            "%",
            gives=["/results/hot_zero_correction"],
        )
        loss = displayed + correction
        gives = ["/results/loss"]
        return self.sheet.step("loss without that shift", "L", loss, "%", gives=gives), of_weights

    def _no_correction(self) -> None:
        what, gives = (
            "correction for a shift of the hot zero: none",
            ["/results/hot_zero_correction"],
        )
        self.sheet.step(what, "corr", formula(0), "%", gives=gives)

    def _loss(self, what: str, symbol: str, start: Figure, end: Figure, *gives: str) -> Figure:
        lost, base = _ratio(start, end, self.check.basis)
        return self.sheet.step(what, symbol, lost / base, "%", gives=gives)

    def _slopes(self, what: str, start: Figure, end: Figure) -> Slopes:
        to_initial, to_final, per = _slope_ratios(start, end, self.check.basis)

        def step(to: str, symbol: str, of: Formula) -> Figure:
            return self.sheet.step(
                f"sensitivity of the {what} to {to}", symbol, of, "%/g", shown=FLOAT_DIGITS
            )

        initial = step("the initial mass", "c0", to_initial / per)
        final = step("the final mass", "c1", to_final / per)
        common = step("what both share", "c_both", initial + final)
        return Slopes(initial, final, common, end)

    def _weights(self, slopes: Slopes) -> dict[str, Formula]:
        """The error on each weight, which is how the expected loss does, with changed sign."""
        start, end = self.check.initial.load, self.check.final.load
        of = {name: -(slopes.common if name in end else slopes.initial) for name in start}
        return {**of, **{name: -slopes.final for name in end if name not in start}}

    def _of_weights(self, weights: Mapping[str, Formula]) -> dict[str, Formula]:
        start, end = set(self.check.initial.load), set(self.check.final.load)
        groups = {
            "removed-weight": start - end,
            "staying-weight": start & end,
            "placed-weight": end - start,
        }
        return {fault: weights[min(names)] for fault, names in groups.items() if names}

    def _rows(self, slopes: Slopes, weights: Mapping[str, Formula]) -> list[Input]:
        inputs, check = self.inputs, self.check
        of_loads = root([slopes.initial, slopes.final])
        built_up = [
            slope * inputs.nominal(part.load)
            for slope, part in ((slopes.initial, check.initial), (slopes.final, check.final))
            if len(part.load) > 1
        ]
        return [
            *digitisation(inputs, "loaded readings", of_loads),
            *digitisation(inputs, "zero readings", -slopes.common),
            *scatter(inputs, of_loads),
            *weight_inputs(inputs, weights, self.terms.weights_correlation, "%"),
            *off_centre(inputs, root(built_up)),
            *self._display(),
            *self._heat(slopes),
        ]

    def _display(self) -> list[Input]:
        """Half a step of the display either way; a whole one where it cuts off."""
        if self.evaluation.results["evaluated_from"] == "masses":
            return []
        step: Formula = self.inputs.instrument("step", "loss_interval")
        if self.check.circumstances.instrument.loss_rounding == "down":
            step = 2 * step
        source = "digitisation of the displayed loss"
        return [Input(source, "%", step / sqrt(formula(12)), formula(1))]

    def _heat(self, slopes: Slopes) -> list[Input]:
        instrument, rows = self.check.circumstances.instrument, []
        if self.check.took_heat is False:
            return []
        if instrument.hot_zero_drift:
            u = self.inputs.instrument("a", "hot_zero_drift") / sqrt(formula(3))
            rows.append(Input("hot zero drift", "g", u, slopes.final))
        known = instrument.hot_zero_correction
        if known is not None and known.standard_uncertainty:
            own = self.inputs.instrument("u", "hot_zero_correction", "standard_uncertainty")
            rows.append(Input("hot zero correction", "g", own, -slopes.final))
        return rows


# Written for numbers of any sort; a formula is one, though no type that they name.
def _ratio(start: Formula, end: Formula, basis: Basis) -> tuple[Formula, Formula]:
    found = loss_ratio(cast("float", start), cast("float", end), basis)
    return cast("tuple[Formula, Formula]", found)


def _slope_ratios(start: Formula, end: Formula, basis: Basis) -> tuple[Formula, Formula, Formula]:
    found = slope_ratios(cast("float", start), cast("float", end), basis)
    return cast("tuple[Formula, Formula, Formula]", found)
