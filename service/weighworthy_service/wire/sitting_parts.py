"""The JSON form of what a sitting says beyond its verdict: of losses, of causes, evaluated anew."""

from typing import Final

from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import Flag, OneOf
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import AnswerForm, BudgetRowForm
from weighworthy_service.wire.shown import Said, Shown, a_verdict, listed, number, text

_NAMES: Final = {"type": "array", "items": {"type": "string"}}
_ENDS: Final = "null: no end."


def _loads() -> Shown:
    listed_ = {"type": "array", "items": {"type": "number"}}
    return Shown(listed_, data_key="loads", metadata=said("Nominal, in g."))


class CauseSizeForm(Said):
    """What one value of one check allows a cause to be."""

    index = Shown({"type": "integer"}, metadata=said("Position of the check."))
    check = text()
    criterion = text("Its key.")
    what = text("What the value is, where it is not that criterion itself.", null=True)
    first = Shown({"type": "number"}, null=True, data_key="from", metadata=said(_ENDS))
    to = number(_ENDS)


class CauseBoundForm(CauseSizeForm):
    agrees = Flag(required=True, metadata=said("Whether it allows a size that is needed."))
    message = text("For people.")


class SizedCauseForm(Said):
    cause = text("Name of the cause. May grow.")
    weight = text("Of a wrong or dirty weight, its name.", null=True)
    unit = text("Of its size; `1`: relative.")
    first = Shown({"type": "number"}, null=True, data_key="from", metadata=said(_ENDS))
    to = number(_ENDS)
    message = text("For people.")


class ExplainingForm(SizedCauseForm):
    state = OneOf(
        ("possible", "not-alone", "contradicted"),
        required=True,
        metadata=said(
            "Held alone against all other values: none leaves it out; only values that failed "
            "themselves do; one that is in order does."
        ),
    )
    bounds = listed(CauseBoundForm, "All that other values say of its size.")


class ActsNotForm(Said):
    cause = text()
    message = text("Why it does not show.")


class NextCheckForm(Said):
    check = text("The kind of check to do next.")
    how = OneOf(
        ("other-weights", "again"),
        required=True,
        allow_none=True,
        metadata=said("null: a check of that kind, which this sitting lacks."),
    )
    tells = Shown(_NAMES, metadata=said("Causes it would show or rule out, or look at a part of."))
    leaves = Shown(_NAMES, metadata=said("Causes that it would leave."))
    message = text("For people.")


class FailedValueForm(Said):
    index = Shown({"type": "integer"}, metadata=said("Position of the check."))
    check = text()
    criterion = text("Its key.")
    valid = Flag(required=True, metadata=said("false: the check is void."))
    sentence = text("For people.")
    causes = listed(ExplainingForm, "What acts on this value, each cause with the size it needs.")
    cannot = listed(ActsNotForm, "What does not act on it.")
    next = listed(NextCheckForm, "What would tell the causes apart that are left, best first.")


class SittingComparedForm(Said):
    what = text("`error` at one load, or `departure` from linearity between two.")
    nominal = _loads()
    of = listed(CauseSizeForm, "The two values, each with what it allows, in g.")
    agrees = Flag(required=True)
    message = text("For people.")


class SittingEvidenceForm(Said):
    failed = listed(FailedValueForm, "Every value outside its limits.")
    alone = listed(SizedCauseForm, "Causes that explain all failed values at once.")
    compared = listed(SittingComparedForm, "What two checks say of one quantity.")
    silent = Shown(
        {"type": "array", "items": {"type": "integer"}},
        metadata=said("Positions of checks that say nothing of causes."),
    )


class ConstantGainForm(CauseSizeForm):
    passes = Flag(required=True, metadata=said("Whether that value is in order."))
    mass_from = number("What it makes of a mass at the start load, in g.")
    mass_to = number()
    loss = number("What it makes of a loss: nothing.", null=False)
    message = text("For people.")


class LinearityOfForm(CauseSizeForm):
    departure = number("In g.", null=False)
    effect = number("What it makes of the loss, in the unit of the criterion.", null=False)
    effect_expanded_uncertainty = number(null=False)
    row = Part(
        BudgetRowForm,
        required=True,
        allow_none=True,
        metadata=said("It as a further row of the budget; null: there is no departure."),
    )
    expanded_uncertainty = number("Of the loss error with that row.", null=False)
    verdict = a_verdict("By that uncertainty. It is no part of the verdict of the sitting.")
    message = text("For people.")


class LossShownForm(Said):
    index = Shown({"type": "integer"}, metadata=said("Position of the check."))
    check = text()
    criterion = text()
    value = number("As the check has it alone.")
    expanded_uncertainty = number("As the check has it alone.")
    unit = text()
    nominal = _loads()
    constant_gain = Part(
        ConstantGainForm,
        required=True,
        allow_none=True,
        metadata=said("What bounds the gain, which cancels in the loss; null: nothing does."),
    )
    linearity = listed(LinearityOfForm, "Of each check whose curve reaches both loads.")


class FedEffectForm(Said):
    criterion = text()
    unit = text()
    expanded_uncertainty = number()
    expanded_uncertainty_fed = number()
    verdict = a_verdict("As it is.")
    verdict_fed = a_verdict("With these figures.")


class FeedingForm(Said):
    source = Shown(
        {"type": "integer"},
        data_key="from",
        metadata=said("The check that found the figures out."),
    )
    to = Shown({"type": "integer"}, metadata=said("The check that they were given to."))
    given = Shown(
        {"type": "object"},
        data_key="fields",
        metadata=said("Of `instrument`, as a request states them."),
    )
    effects = listed(FedEffectForm, "What these alone change.")
    refused = text("Why they cannot be taken.", null=True)
    message = text("For people.")


class FedAnswerForm(Said):
    index = Shown({"type": "integer"}, metadata=said("Position of the check."))
    answer = Part(AnswerForm, required=True)


class SittingFedForm(Said):
    verdict = a_verdict("Of the sitting, by the second evaluation.")
    verdict_if_valid = a_verdict("With what void checks would have been otherwise.")
    usable = Flag(required=True, allow_none=True)
    feedings = listed(FeedingForm, "Each figure, from which check to which.")
    answers = listed(FedAnswerForm, "Of the checks that were given any, with all of them.")
