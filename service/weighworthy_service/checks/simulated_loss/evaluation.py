"""Evaluation of a simulated loss: a known part is lifted off, the known loss must be reported.

An archive holds thousands of checks that differ in their readings alone. So everything else is
settled once, and the evaluation of one check is that of the only readings of a prepared one.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.advice import is_few
from weighworthy_service.checks.answer import number, ratio_number
from weighworthy_service.checks.conclusion import conclude, in_order, nothing_judged
from weighworthy_service.checks.contributions import weights_allowance
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.checks.held import Held, Ratio, Standard, Subject
from weighworthy_service.checks.outcome import (
    Brief,
    CriterionName,
    Evaluation,
    Finding,
    Ruling,
    Verdict,
)
from weighworthy_service.checks.simulated_loss.budget import Acting, LossBudget
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck, reading_flaws
from weighworthy_service.checks.simulated_loss.loss import Outcome, Reference, quanta, quantity
from weighworthy_service.checks.simulated_loss.remarks import LossRemarks
from weighworthy_service.checks.simulated_loss.reveals import Reveals
from weighworthy_service.checks.simulated_loss.usual import Usual
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import Uncertainty
from weighworthy_service.metrology.conformity import Decided
from weighworthy_service.metrology.stating import stating

LOSS_ERROR: Final = CriterionName("loss_error", "%")
CRITERIA: Final = (LOSS_ERROR,)


def evaluate(check: SimulatedLossCheck, terms: Terms) -> Evaluation:
    """Judge the loss against the expected loss of the weights."""
    return PreparedLoss(check, terms).evaluation(
        check.initial.indication, check.final.indication, check.displayed_loss
    )


class Conclusion(NamedTuple):
    """What a verdict on the error and all findings come down to."""

    verdict: Verdict | None
    if_valid: Verdict | None
    usable: bool | None
    findings: tuple[Finding, ...]
    codes: tuple[str, ...]


class Weighed(NamedTuple):
    """One run, judged."""

    outcome: Outcome
    acting: Acting
    uncertainty: Uncertainty
    verdict: Decided | None
    room: int
    conclusion: Conclusion


class PreparedLoss:
    """Many simulated losses that differ only in their readings; those of `check` do not count.

    Readings: both indications in g and the displayed loss in %; in brief, over `QUANTA`. None: not
    stated.
    """

    def __init__(self, check: SimulatedLossCheck, terms: Terms) -> None:
        here = check.circumstances
        self._check, self.terms = check, terms
        self.reference = Reference(check)
        self._least_final = check.least_final
        subject = Subject(
            key=LOSS_ERROR.name,
            weights_error=weights_allowance(self.reference.weights, here),
            load=here.nominal(check.initial.load),
        )
        standard = Standard(LOSS_ERROR, subject.load, terms, here)
        self.held = Held(LOSS_ERROR, subject, terms, standard)
        tolerance = self.held.tolerance
        self.budget = LossBudget(check, self.reference, terms)
        self._remarks = LossRemarks(check, terms, self.reference.expected, tolerance)
        self.reveals = Reveals(check, self.reference, tolerance, terms.decision)
        limits = (None, None) if tolerance is None else tolerance.limits
        self._limits = tuple(number(limit) for limit in limits)
        loads = here.nominal(check.initial.load), here.nominal(check.final.load)
        self.usual = Usual(here, loads, terms.start_window, self._least_final)
        self._stating = stating(terms.decision.coverage)
        self._rulings: dict[tuple[Any, ...], Ruling] = {}
        self._conclusions: dict[tuple[Decided | Finding | None, ...], Conclusion] = {}

    def brief(self, initial: int | None, final: int | None, displayed: int | None) -> Brief | None:
        """What a table shows of these readings; None: they make no check."""
        found = self._quickly(initial, final, displayed)
        if found is None:
            readings = [quantity(reading) for reading in (initial, final, displayed)]
            if self._flaws(*readings):
                return None
            weighed = self._weigh(*readings)
            found = weighed.outcome.error, weighed.room, self._ruling(weighed)
        error, room, ruling = found
        margin, tolerance = None, self.held.tolerance
        if tolerance is not None and (halves := tolerance.margin(room, error[1])):
            margin = ratio_number(*halves)
        return Brief(ruling, ratio_number(*error), margin)

    def _quickly(
        self, initial: int | None, final: int | None, displayed: int | None
    ) -> tuple[Ratio, int, Ruling] | None:
        """Error, room and ruling where bounds decide them; None: to be looked at closely.

        The ruling is that of the first that was alike in all it rests on.
        """
        if initial is None or final is None or not self.usual.are(initial, final):
            return None
        outcome = self.reference.outcome(initial, final, displayed)
        slopes = outcome.near_slopes()
        if not self.usual.agrees(displayed, outcome, slopes):
            return None
        standard, degrees = self.budget.near(slopes)
        expanded = self._stating.sure(standard, degrees)
        few = is_few(degrees)
        if expanded is None or few is None:
            return None
        verdict, room = self.held.weigh(outcome.error, expanded)
        alike = (verdict, room >= 0, expanded, few, displayed is None)
        ruling = self._rulings.get(alike)
        if ruling is None:
            first = self._weigh(quantity(initial), quantity(final), quantity(displayed))
            ruling = self._rulings[alike] = self._ruling(first)
        return outcome.error, room, ruling

    def evaluation(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Evaluation:
        """The whole outcome. Raises: SenseError, when the readings make no check."""
        refuse_if_any(self._flaws(initial, final, displayed))
        outcome, acting, combined, decided, _, said = self._weigh(initial, final, displayed)
        uncertainty = Uncertainty(*combined[:4], acting.rows())
        error = Fraction(*outcome.error)
        return Evaluation(
            check="simulated-loss",
            verdict=said.verdict,
            verdict_as_found=said.verdict,
            verdict_as_left=said.verdict,
            verdict_if_valid=said.if_valid,
            usable=said.usable,
            criteria=(self.held.criterion(error, uncertainty, decided),),
            results={
                **self._results(outcome, error, displayed),
                "reveals": self.reveals.lines(outcome, acting, combined.expanded),
            },
            findings=said.findings,
        )

    def _flaws(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> list[Flaw]:
        return reading_flaws(
            initial,
            final,
            displayed,
            least_final=self._least_final,
            loss_interval=self._check.circumstances.instrument.loss_interval,
        )

    def _weigh(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Weighed:
        readings = [quanta(reading) for reading in (initial, final, displayed)]
        outcome = self.reference.outcome(*readings)
        acting = self.budget.acting(outcome)
        uncertainty = acting.combined(self.terms.decision.coverage)
        expanded, degrees = uncertainty.expanded, uncertainty.degrees_of_freedom
        verdict, room = self.held.weigh(outcome.error, expanded)
        found = self.held.advise(expanded, degrees, verdict, inside=room >= 0)
        found += self._remarks.on(initial, final, displayed, outcome)
        key = (verdict, *found)
        if key not in self._conclusions:
            self._conclusions[key] = self._conclude(verdict, found)
        return Weighed(outcome, acting, uncertainty, verdict, room, self._conclusions[key])

    def _ruling(self, weighed: Weighed) -> Ruling:
        said, expanded = weighed.conclusion, weighed.uncertainty.expanded
        lower, upper = self._limits
        return Ruling(
            said.verdict,
            said.usable,
            LOSS_ERROR.name,
            LOSS_ERROR.unit,
            lower,
            upper,
            number(expanded),
            said.codes,
        )

    def _conclude(self, decided: Decided | None, found: Sequence[Finding]) -> Conclusion:
        findings = [*self.held.findings, *found, *self._remarks.settled]
        verdict, if_valid = conclude([decided], findings)
        ordered = in_order([*findings, *nothing_judged(verdict, if_valid)])
        codes = tuple(finding.code for finding in ordered)
        return Conclusion(verdict, if_valid, self.terms.lets_use(verdict), ordered, codes)

    def _results(
        self, outcome: Outcome, error: Fraction, displayed: Decimal | None
    ) -> dict[str, Any]:
        reference = self.reference
        value = Fraction(*outcome.value)
        from_masses: Fraction | None = value
        if outcome.from_masses is not outcome.value:
            from_masses = outcome.from_masses and Fraction(*outcome.from_masses)
        return {
            "basis": self._check.basis,
            "evaluated_from": "displayed-loss" if from_masses is None else "masses",
            "loss": value,
            "loss_from_masses": from_masses,
            "displayed_loss": displayed,
            "hot_zero_correction": reference.correction(value, from_masses),
            "expected_loss": reference.expected,
            "error": error,
            "initial_mass": reference.initial_mass,
            "final_mass": reference.final_mass,
        }
