"""The JSON form of plans. Masses are in g, losses and moistures in %, chances are of one."""

from typing import Any, Final

from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.fields import Flag, OneOf
from weighworthy_service.wire.request import said
from weighworthy_service.wire.responses import BudgetRowForm, EngineForm, ProfileIdentityForm
from weighworthy_service.wire.review import ChancesForm
from weighworthy_service.wire.shown import Said, Shown, listed, number, text

_BASES: Final = ("wet", "dry")
_UNITS: Final = ("g", "%")


def _texts(sentence: str, *, null: bool = False) -> Any:
    return Shown({"type": "array", "items": {"type": "string"}}, null=null, metadata=said(sentence))


def _count(sentence: str, *, null: bool = False) -> Shown:
    return Shown({"type": "integer"}, null=null, metadata=said(sentence))


def _because(sentence: str = "Why, a sentence for each step.") -> Any:
    return _texts(sentence)


def _chances(sentence: str) -> Part:
    return Part(ChancesForm, required=True, allow_none=True, metadata=said(sentence))


class AssumedForm(Said):
    """What the request does not state and the plan takes."""

    field = text("JSON pointer to where the request may state it.")
    value = text("What is taken.")
    because = text("Why.")


class PlanForm(Said):
    """What every plan says."""

    plan = text("Which one.")
    engine = Part(EngineForm, required=True)
    because = _because()
    assumed = listed(AssumedForm, "What was not stated; nothing else was taken.")
    cautions = _texts("What to beware of.")


class PlanBudgetRowForm(BudgetRowForm):
    share = number("Of the variance, of one.", null=False)


class LargestPartForm(Said):
    source = text("The largest row of the budget.")
    share = number("Of the variance, of one.", null=False)


class PlanWindowForm(Said):
    target = number(null=False)
    allowance = number(null=False)


class PlanToleranceForm(Said):
    """What the checks are held against."""

    lower_limit = number("null: none, or no combination.")
    upper_limit = number()
    unit = OneOf(_UNITS, required=True)
    decision_rule = text()
    guard_factor = number("null: no guard band.")
    coverage = number("Of the expanded uncertainty, in %.", null=False)


class LossSearchForm(Said):
    """How far was looked, and what was not."""

    weights = _count("Stated.")
    most_owned = _count("That may be stated.")
    weights_on_pan = _count("At most.")
    starts_looked_at = _count("Sets of weights.")
    starts_in_window = _count("Of these, those whose mass lies in the start window.")
    combinations = _count("Of what lies on the pan and what comes off, near enough to the loss.")
    evaluated = _count("Of these, those whose budget was reckoned.")
    judged = _count("Of these, those whose chances were reckoned.")
    left_out = _texts("What was not looked at, and how many.")


class RevealForm(Said):
    fault = text("May grow.")
    smallest = number("That shows with 95 % probability; null: none has a size.")
    unit = text(null=True)
    sensitivity = number("Of the loss to it, in % per unit.")
    message = text("For people.")


class ErrorChancesForm(ChancesForm):
    error = number("How far off the balance is, in the unit of the criterion.", null=False)


def _of_errors(sentence: str) -> Part:
    return Part(ErrorChancesForm, required=True, allow_none=True, metadata=said(sentence))


class LossOptionForm(Said):
    rank = _count("By `ranking`; null: it lacks something.", null=True)
    put_on = _texts("Weights on the pan at the start.")
    lift_off = _texts("Of these, those that come off.")
    stay = _texts("And those that stay.")
    initial_mass = number("Conventional mass at the start.", null=False)
    final_mass = number(null=False)
    expected_loss = number(null=False)
    expanded_uncertainty = number(null=False)
    coverage_factor = number(null=False)
    tolerance_to_uncertainty = number("Half of the tolerance over U.", null=False)
    false_rejection = _chances(
        "That a balance without error is not let into use. null: no such check can count."
    )
    false_acceptance_at_limit = _chances("That one just at a limit is, on the likelier side.")
    false_acceptance = _of_errors("That one which is off by `error` is.")
    largest_part = Part(LargestPartForm, required=True)
    budget = listed(PlanBudgetRowForm)
    reveals = listed(RevealForm, "What the check would show, and from which size on.")
    short_of = _texts("What it lacks of what is asked; empty for options.")
    because = _because()


class LossPlanAnswerForm(PlanForm):
    profile = Part(
        ProfileIdentityForm,
        required=True,
        allow_none=True,
        metadata=said("Whose limit it is; null: that of the request."),
    )
    tolerance = Part(PlanToleranceForm, required=True)
    start_window = Part(PlanWindowForm, required=True)
    basis = OneOf(_BASES, required=True)
    heating = Flag(required=True, allow_none=True)
    wanted_loss = number("null: any.")
    ranking = _texts("By which rules options are ranked and left out.")
    search = Part(LossSearchForm, required=True)
    options = listed(LossOptionForm, "That have all that is asked, best first.")
    misses = listed(LossOptionForm, "The best that have not, and what they lack.")


class ToleranceFloorForm(Said):
    condition = text("`ratio`, `guard-band`, `rounding`, `weights`, `false-rejection`. May grow.")
    least = number("The smallest tolerance that keeps it.", null=False)
    because = text("Why.")


class PlanLimitForm(Said):
    """As a profile writes it."""

    within = text()


class PlannedClassForm(Said):
    weight_class = text()
    within = number("The tightest honest tolerance with it; null: none.")
    limited_by = text(null=True)
    reaches_wanted = Shown({"type": "boolean"}, null=True, metadata=said("null: none is wanted."))


class PlannedToleranceForm(Said):
    check = text()
    criterion = text()
    put_on = _texts("Weights; empty where none takes part.")
    stay = _texts("Of a simulated loss, those that stay.", null=True)
    load = number("Nominal load that the limit refers to.")  # type: ignore[assignment]
    unit = OneOf(_UNITS, required=True)
    within = number("The tightest honest tolerance, to both sides; null: none.")
    limit = Part(PlanLimitForm, required=True, allow_none=True)
    limited_by = text("The condition that keeps it there.", null=True)
    floors = listed(ToleranceFloorForm, "What each condition asks for.")
    expanded_uncertainty = number(null=False)
    coverage_factor = number(null=False)
    degrees_of_freedom = number("null: infinitely many.")
    weights_error = number("The largest error that the weights may bring in.", null=False)
    largest_part = Part(LargestPartForm, required=True)
    budget = listed(PlanBudgetRowForm)
    tolerance_to_uncertainty = number("At that tolerance.")
    false_rejection = _chances("At that tolerance, of a balance without error.")
    false_acceptance_at_limit = _chances("Of one that is just at the limit.")
    false_acceptance = _of_errors("Of one that is 1.5 tolerances off.")
    wanted = number()
    wanted_is_honest = Shown({"type": "boolean"}, null=True, metadata=said("null: none is wanted."))
    classes = listed(PlannedClassForm, "Of OIML R 111-1 with these nominal values, finest first.")
    buy = text("The coarsest class that will do; null: none, or none needed.", null=True)
    buy_because = text("Why.")
    void_by = _texts("Why no such check can count, whatever the readings.")
    because = _because()


class TolerancePlanAnswerForm(PlanForm):
    ratio = number("Asked of tolerance to expanded uncertainty.", null=False)
    false_rejection_at_most = number("Of one.", null=False)
    weights_share = number("Of one.", null=False)
    decision_rule = text()
    coverage = number("In %.", null=False)
    tolerances = listed(PlannedToleranceForm)


class SmallestSampleForm(Said):
    smallest_mass = number("At which U is exactly what is allowed.", null=False)
    source = text()
    uncertainty_times_mass = number("A of u = A/m, in %·g.", null=False)
    coverage_factor = number(null=False)
    degrees_of_freedom = number("null: infinitely many.")
    expanded_uncertainty = number("At that mass.", null=False)
    whole_uncertainty_grows_by = number(
        "What the balance's part adds to that of all else, in % of it, if that were the target.",
        null=False,
    )
    budget = listed(PlanBudgetRowForm, "At that mass.")
    because = _because()


class OtherMinimumForm(Said):
    name = text("`usp-41`, `euramet-cg-18`. May grow.")
    title = text()
    source = text("The publication, and how far it was read.")
    smallest_mass = number("null: no mass has that.")
    because = _because()


class UncertaintyAtMassForm(Said):
    sample_mass = number(null=False)
    expanded_uncertainty = number(null=False)
    share = number("Of the target, of one.", null=False)


class SamplePlanAnswerForm(PlanForm):
    loss = number(null=False)
    basis = OneOf(_BASES, required=True)
    heating = Flag(required=True)
    target_uncertainty = number(null=False)
    share = number("Of one.", null=False)
    allowed_uncertainty = number("Expanded; what the balance may take.", null=False)
    smallest_sample = Part(SmallestSampleForm, required=True)
    other_minima = listed(OtherMinimumForm, "Of single weighings, each by its publication.")
    largest_of_all = number("null: one of them has none.")
    weigh_at_least = number("The same rounded up to three digits.")
    above_capacity = Flag(required=True, metadata=said("Whether that is more than it weighs."))
    at_masses = listed(UncertaintyAtMassForm, "For the masses asked for.")


class OwnUncertaintyForm(Said):
    expanded_uncertainty = number("Of one result, from the balance's own scatter.", null=False)
    coverage_factor = number(null=False)
    budget = listed(BudgetRowForm)


class ProductLossForm(Said):
    put_on = _texts("At the start.")
    lift_off = _texts("Of these.")
    stay = _texts("Of these.")


class ProductLoadsForm(Said):
    span = _texts("The weight.")
    linearity: Any = Shown(
        {"type": "array", "items": {"type": "array", "items": {"type": "string"}}},
        metadata=said("The points, rising."),
    )
    simulated_loss = Part(ProductLossForm, required=True, data_key="simulated-loss")


class ProductLimitForm(Said):
    check = text()
    criterion = text()
    unit = OneOf(_UNITS, required=True)
    within = number("null: not attainable.")
    tightest = number("The tightest honest one.", null=False)
    limited_by = text("What keeps that there.")
    expanded_uncertainty = number(null=False)
    slip = number("What a balance may be off beyond the limit and still pass.", null=False)
    costs = number("Largest error of a result by this alone, in %; null: it is not added up.")


class ProductPlanAnswerForm(PlanForm):
    typical = number(null=False)
    basis = OneOf(_BASES, required=True)
    sample_mass = number(null=False)
    room = number("From typical moisture to the nearest limit; null: no limit.")
    allowed = number("What the balance may take.", null=False)
    own_uncertainty = Part(OwnUncertaintyForm, required=True)
    attainable = Flag(required=True, metadata=said("Whether honest limits keep it."))
    smallest_allowed = number("The smallest part that the tightest limits keep; null: none.")
    sample_mass_needed = number(
        "With which they would keep the part; null: they do, or none up to the capacity."
    )
    loads = Part(ProductLoadsForm, required=True)  # type: ignore[assignment]
    limits = listed(ProductLimitForm)
    worst_error = number("Of a result of a balance that just passes; null: not attainable.")
    worst_with_own_uncertainty = number("Never above `allowed`.")
    simulated_loss_guarantees = Flag(
        required=True,
        metadata=said("Whether the simulated loss alone keeps a change of zero or gain in bounds."),
    )
    profile = Shown(
        {"type": "object"}, null=True, metadata=said("A profile document; null: not attainable.")
    )
    profile_toml = text("The same as TOML, with the reasons as comments.", null=True)
    cannot_see = _texts("What none of these checks shows, so that nothing here guarantees it.")
