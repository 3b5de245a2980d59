"""The JSON form of what the service says. Never used to write it: tests hold the answers to it.

Objects are open: later versions may say more, and readers skip what they do not know. Every field
that is listed is always there.
"""

from typing import Final

from weighworthy_service.metrology.limits import CRITERION_UNITS
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.explanation import ExplanationStepForm
from weighworthy_service.wire.fields import Flag, OneOf
from weighworthy_service.wire.request import said
from weighworthy_service.wire.shown import Said, Shown, a_verdict, listed, number, text

_SEVERITIES: Final = ("void", "no-pass", "warning", "note")


class BudgetRowForm(Said):
    source = text()
    distribution = text()
    standard_uncertainty = number("Of the input, in `unit`.", null=False)
    unit = text()
    sensitivity = number(null=False)
    contribution = number(
        "In the unit of the criterion. Their squares add up to that of its standard uncertainty.",
        null=False,
    )
    degrees_of_freedom = number("null: known, infinitely many.")


class CriterionForm(Said):
    key = text("Unique in an answer, like `span_error[0]`.")
    name = text("May grow.")
    stage = text(null=True)
    index = Shown(
        {"type": "integer"},
        null=True,
        metadata=said("Position in the request of the round or point that it speaks of."),
    )
    load = number("Nominal load in g that limits refer to.")  # type: ignore[assignment]
    value = number("null: cannot be computed from the request.")
    unit = OneOf(CRITERION_UNITS, required=True)
    lower_limit = number()
    upper_limit = number()
    standard_uncertainty = number()
    expanded_uncertainty = number("k·u rounded up to two digits: the figure decisions use.")
    coverage_factor = number()
    degrees_of_freedom = number("null beside a standard uncertainty: infinitely many.")
    conformance_probability = number(
        "That the true value lies within the limits: Student's t about the value, flat prior."
    )
    margin = number("1 in the centre of the tolerance, 0 on a limit; null with one limit only.")
    distance = number("To the nearer limit, in the unit; negative outside.")
    tolerance_to_uncertainty = number("Width of the tolerance over twice the expanded one.")
    decision_rule = text(null=True)
    verdict = a_verdict("null: not judged, for want of a limit or of a value.")
    limit_source = text(null=True)
    budget = listed(BudgetRowForm, "Empty with `detail=short`.")


class FindingForm(Said):
    code = text("For programs. May grow.")
    severity = OneOf(_SEVERITIES, required=True)
    message = text("For people.")
    field = text("JSON pointer into the request.", null=True)


class ProfileIdentityForm(Said):
    id = text()
    revision = text()
    digest = text("SHA-256 of the canonical form (RFC 8785) of its content.")


class EngineForm(Said):
    name = text()
    version = text()
    revision = Shown(
        {"type": "integer"}, metadata=said("Grows when any number or verdict can change.")
    )


class AnswerForm(Said):
    check = text()
    verdict = a_verdict("null: nothing could be judged, which is no pass.")
    verdict_as_found = a_verdict("Speaks for results since the last check.")
    verdict_as_left = a_verdict("Speaks from now on.")
    verdict_if_valid = a_verdict("What a void check would have been otherwise.")
    usable = Flag(
        required=True,
        allow_none=True,
        metadata=said("The verdict held against the profile's `use_on`."),
    )
    criteria = listed(CriterionForm)
    results = Shown(
        {"type": "object", "additionalProperties": True},
        metadata=said("What was computed; keys depend on the kind of check and may grow."),
    )
    findings = listed(FindingForm, "By severity, field and code.")
    profile = Part(ProfileIdentityForm, required=True)
    engine = Part(EngineForm, required=True)
    request_digest = text(
        "SHA-256 of the canonical form (RFC 8785) of the request with its `check`, without null "
        "members and labels."
    )
    labels = Shown(
        {"type": "object", "additionalProperties": {"type": "string"}},
        metadata=said("As they were sent."),
    )
    explanation = ListOf(
        Part(ExplanationStepForm),
        maximum=1_000_000,
        metadata=said("Only with `explain=true`: every number of the answer reckoned by hand."),
    )


class CriterionNameForm(Said):
    name = text()
    unit = OneOf(CRITERION_UNITS, required=True)


class KindForm(Said):
    check = text()
    title = text()
    about = text("Markdown.")
    address = text()
    criteria = listed(CriterionNameForm)
    example = Shown({"type": "object"}, metadata=said("A request that can be sent as it is."))


class KindsForm(Said):
    checks = listed(KindForm)


class InfoForm(Said):
    name = text()
    version = text()
    engine = Part(EngineForm, required=True)
    default_profile = Part(ProfileIdentityForm, required=True)
    checks = Shown({"type": "array", "items": {"type": "string"}})


class StatusForm(Said):
    status = text()


class ReadyForm(StatusForm):
    profiles = Shown({"type": "integer"}, metadata=said("How many profiles it serves."))
    not_reloaded = Shown(
        {"type": "array", "items": {"type": "string"}},
        metadata=said(
            "Why the profiles or keys found at the last SIGHUP were not taken, a sentence each, at "
            "most 100; what was in force before still is. Empty: nothing was refused."
        ),
    )


class KnownProfileForm(ProfileIdentityForm):
    title = text(null=True)
    approved_by = text(null=True)
    effective_from = text("First day, YYYY-MM-DD; null: from the beginning.", null=True)
    effective_to = text("Last day; null: until a later revision begins.", null=True)
    extends = Shown(
        {"type": "array", "items": {"type": "string"}},
        metadata=said("What it builds on, as `id@revision`, the nearest first."),
    )
    address = text("Where it is read.")


class KnownProfilesForm(Said):
    profiles = listed(KnownProfileForm, "By id and revision.")


class WholeProfileForm(KnownProfileForm):
    document = Shown(
        {"$ref": "#/components/schemas/Profile"},
        metadata=said(
            "The profile with all that it builds on written into it: may be sent as a `profile`, "
            "and has the same digest."
        ),
    )
