"""The text of answers to simulated losses: of such as an earlier one, with other numbers in it.

Nearly all of an answer rests on what is settled, on the verdict and on two digits of uncertainty.
So the first answer of a sort is made as any other, and kept as a form with places for its numbers.
A later one puts its own in, each computed as for the first. What is not as usual is left to the
long way; a property test holds both to the last byte.
"""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.advice import is_few
from weighworthy_service.checks.answer import ratio_number
from weighworthy_service.checks.answer_text import (
    PLACE,
    AnswerForm,
    float_text,
    number_text,
    place_in,
)
from weighworthy_service.checks.held import Ratio
from weighworthy_service.checks.outcome import Evaluation, Verdict
from weighworthy_service.checks.prepared import Formed
from weighworthy_service.checks.simulated_loss.budget import Acting
from weighworthy_service.checks.simulated_loss.evaluation import PreparedLoss
from weighworthy_service.checks.simulated_loss.loss import Outcome
from weighworthy_service.checks.simulated_loss.reveals import Size
from weighworthy_service.metrology.budget import Uncertainty, stated
from weighworthy_service.metrology.conformity import Tolerance, probability_between
from weighworthy_service.metrology.quantity import in_quanta

# Of one prepared check: verdicts and stated uncertainties there may be, and more.
_FORMS: Final = 256
_NO_CORRECTION: Final = "0.0"


class LossText:
    """Writes answers to many simulated losses that differ only in their readings."""

    def __init__(self, prepared: PreparedLoss, form_of: Callable[[Evaluation], AnswerForm]) -> None:
        self._prepared, self._form_of = prepared, form_of
        tolerance = prepared.held.tolerance
        self._tolerance = tolerance if tolerance is not None and tolerance.width else None
        self._coverage = prepared.terms.decision.coverage
        self._forms: dict[tuple[Any, ...], tuple[AnswerForm, Verdict | None]] = {}

    def form(
        self, initial: Decimal | None, final: Decimal | None, displayed: Decimal | None
    ) -> Formed | None:
        """A form, the texts of its numbers and the verdict, of readings as of `PreparedLoss`; None:
        the long way.

        Raises:
            SenseError: the readings make no check.
        """
        here, tolerance = self._prepared, self._tolerance
        if initial is None or final is None or tolerance is None:
            return None
        start, end = in_quanta(initial), in_quanta(final)
        shown = None if displayed is None else in_quanta(displayed)
        if not here.usual.are(start, end):
            return None
        found = here.reference.outcome(start, end, shown)
        slopes = found.slopes()
        # What does not act at all has another sentence, and no row.
        if not (all(slopes) and found.final and here.usual.agrees(shown, found, slopes)):
            return None
        acting = here.budget.acting_at(slopes)
        combined = acting.combined(self._coverage)
        degrees, expanded = combined.degrees_of_freedom, combined.expanded
        verdict, room = here.held.weigh(found.error, expanded)
        few = bool(is_few(degrees))
        alike = (verdict, room >= 0, expanded, few, displayed is None)
        if alike not in self._forms:
            if len(self._forms) >= _FORMS:
                return None
            first = here.evaluation(initial, final, displayed)
            placed = _placed(first, here.budget.varying)
            self._forms[alike] = (self._form_of(placed), first.verdict)
        form, said = self._forms[alike]
        error = _ratio(found.error)
        texts = [
            error,
            *_of_the_criterion(found.error, combined, room, tolerance),
            *_of_the_budget(acting, here.budget.varying),
            *_of_the_results(found, displayed),
            error,
            *_of_the_reveals(here.reveals.sizes(found, slopes, acting, expanded)),
        ]
        return (form, texts, said) if form.places == len(texts) else None


def _placed(evaluation: Evaluation, varying: list[int]) -> Evaluation:
    """The evaluation with places in place of all numbers that `LossText.form` puts in."""
    criterion, results = evaluation.criteria[0], evaluation.results
    rows = [
        row._replace(sensitivity=PLACE) if i in varying else row
        for i, row in enumerate(criterion.budget)
    ]
    placed = replace(
        criterion,
        value=PLACE,
        standard_uncertainty=PLACE,
        coverage_factor=PLACE,
        degrees_of_freedom=PLACE,
        conformance_probability=PLACE,
        margin=PLACE,
        distance=PLACE,
        budget=tuple(rows),
    )
    own = ("loss", "loss_from_masses", "displayed_loss", "hot_zero_correction", "error")
    numbers = {name: PLACE for name in own if results[name] is not None}
    reveals = [_line_placed(line) for line in results["reveals"]]
    return replace(
        evaluation, criteria=(placed,), results={**results, **numbers, "reveals": reveals}
    )


def _line_placed(line: dict[str, Any]) -> dict[str, Any]:
    smallest = line["smallest"]
    if smallest is None:
        return {**line, "sensitivity": PLACE} if line["sensitivity"] else line
    message = place_in(line["message"], f"{stated(smallest):f}")
    return {**line, "smallest": PLACE, "sensitivity": PLACE, "message": message}


def _of_the_criterion(
    error: Ratio, combined: Uncertainty, room: int, tolerance: Tolerance
) -> tuple[str, ...]:
    numerator, denominator = error
    standard, degrees, factor = combined[:3]
    probability = probability_between(numerator / denominator, standard, degrees, tolerance.ends)
    margin = tolerance.margin(room, denominator)
    assert margin is not None  # noqa: S101  the tolerance has a width
    return (
        float_text(standard),
        float_text(factor),
        float_text(degrees),
        float_text(probability),
        _ratio(margin),
        _ratio((room, tolerance.per * denominator)),
    )


def _of_the_budget(acting: Acting, varying: list[int]) -> list[str]:
    sensitivities, contributions = acting.sensitivities, acting.contributions
    return [float_text(of[i]) for i in varying for of in (sensitivities, contributions)]


def _of_the_results(found: Outcome, displayed: Decimal | None) -> list[str]:
    loss = from_masses = _ratio(found.value)
    correction = _NO_CORRECTION
    if found.from_masses is not found.value:
        assert found.from_masses is not None  # noqa: S101  both indications are there
        from_masses = _ratio(found.from_masses)
        correction = number_text(Fraction(*found.value) - Fraction(*found.from_masses))
    shown = [] if displayed is None else [number_text(displayed)]
    return [loss, from_masses, *shown, correction]


def _of_the_reveals(sizes: list[Size]) -> list[str]:
    texts: list[str] = []
    for smallest, sensitivity in sizes:
        if smallest is not None and sensitivity is not None:
            texts += float_text(smallest), float_text(sensitivity), f"{stated(smallest):f}"
        elif sensitivity:
            texts.append(float_text(sensitivity))
    return texts


def _ratio(ratio: Ratio) -> str:
    return repr(ratio_number(*ratio))
