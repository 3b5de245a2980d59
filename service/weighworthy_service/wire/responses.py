"""The JSON form of what the service says. Never used to write it: tests hold the answers to it.

Objects are open: later versions may say more, and readers skip what they do not know. Every field
that is listed is always there.
"""

from typing import Any

from marshmallow import EXCLUDE, Schema

from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Strict
from weighworthy_service.wire.request import said

_VERDICTS = ("pass", "conditional-pass", "conditional-fail", "fail", "void")
_SEVERITIES = ("void", "no-pass", "warning", "note")


class Shown(Strict[Any]):
    """A value with the JSON Schema keywords given."""

    def __init__(self, keywords: dict[str, Any], *, null: bool = False, **kwargs: Any) -> None:
        super().__init__(required=True, allow_none=null, **kwargs)
        self._keywords = keywords

    def keywords(self) -> dict[str, Any]:
        return dict(self._keywords)


def _number(sentence: str = "", *, null: bool = True) -> Shown:
    return Shown({"type": "number"}, null=null, metadata=said(sentence) if sentence else {})


def _text(sentence: str = "", *, null: bool = False) -> Shown:
    return Shown({"type": "string"}, null=null, metadata=said(sentence) if sentence else {})


def _list(inner: type[Schema], sentence: str = "") -> Shown | ListOf:
    metadata = said(sentence) if sentence else {}
    return ListOf(Part(inner), maximum=1_000_000, required=True, metadata=metadata)


def _verdict(sentence: str) -> OneOf:
    return OneOf(_VERDICTS, required=True, allow_none=True, metadata=said(sentence))


class Said(Schema):
    class Meta:
        unknown = EXCLUDE


class BudgetRowForm(Said):
    source = _text()
    distribution = _text()
    standard_uncertainty = _number("Of the input, in `unit`.", null=False)
    unit = _text()
    sensitivity = _number(null=False)
    contribution = _number(
        "In the unit of the criterion. Their squares add up to that of its standard uncertainty.",
        null=False,
    )
    degrees_of_freedom = _number("null: known, infinitely many.")


class CriterionForm(Said):
    key = _text("Unique in an answer, like `span_error[0]`.")
    name = _text("May grow.")
    stage = _text(null=True)
    index = Shown(
        {"type": "integer"},
        null=True,
        metadata=said("Position in the request of the round or point that it speaks of."),
    )
    load = _number("Nominal load in g that limits refer to.")  # type: ignore[assignment]
    value = _number("null: cannot be computed from the request.")
    unit = OneOf(("g", "%"), required=True)
    lower_limit = _number()
    upper_limit = _number()
    standard_uncertainty = _number()
    expanded_uncertainty = _number("k·u rounded up to two digits: the figure decisions use.")
    coverage_factor = _number()
    degrees_of_freedom = _number("null beside a standard uncertainty: infinitely many.")
    conformance_probability = _number(
        "That the true value lies within the limits: Student's t about the value, flat prior."
    )
    margin = _number("1 in the centre of the tolerance, 0 on a limit; null with one limit only.")
    distance = _number("To the nearer limit, in the unit; negative outside.")
    tolerance_to_uncertainty = _number("Width of the tolerance over twice the expanded one.")
    decision_rule = _text(null=True)
    verdict = _verdict("null: not judged, for want of a limit or of a value.")
    limit_source = _text(null=True)
    budget = _list(BudgetRowForm, "Empty with `detail=short`.")


class FindingForm(Said):
    code = _text("For programs. May grow.")
    severity = OneOf(_SEVERITIES, required=True)
    message = _text("For people.")
    field = _text("JSON pointer into the request.", null=True)


class ProfileIdentityForm(Said):
    id = _text()
    revision = _text()
    digest = _text("SHA-256 of the canonical form (RFC 8785) of its content.")


class EngineForm(Said):
    name = _text()
    version = _text()
    revision = Shown(
        {"type": "integer"}, metadata=said("Grows when any number or verdict can change.")
    )


class AnswerForm(Said):
    check = _text()
    verdict = _verdict("null: nothing could be judged, which is no pass.")
    verdict_as_found = _verdict("Speaks for results since the last check.")
    verdict_as_left = _verdict("Speaks from now on.")
    verdict_if_valid = _verdict("What a void check would have been otherwise.")
    usable = Flag(
        required=True,
        allow_none=True,
        metadata=said("The verdict held against the profile's `use_on`."),
    )
    criteria = _list(CriterionForm)
    results = Shown(
        {"type": "object", "additionalProperties": True},
        metadata=said("What was computed; keys depend on the kind of check and may grow."),
    )
    findings = _list(FindingForm, "By severity, field and code.")
    profile = Part(ProfileIdentityForm, required=True)
    engine = Part(EngineForm, required=True)
    request_digest = _text(
        "SHA-256 of the canonical form (RFC 8785) of the request with its `check`, without null "
        "members and labels."
    )
    labels = Shown(
        {"type": "object", "additionalProperties": {"type": "string"}},
        metadata=said("As they were sent."),
    )


class CriterionNameForm(Said):
    name = _text()
    unit = OneOf(("g", "%"), required=True)


class KindForm(Said):
    check = _text()
    title = _text()
    about = _text("Markdown.")
    address = _text()
    criteria = _list(CriterionNameForm)
    example = Shown({"type": "object"}, metadata=said("A request that can be sent as it is."))


class KindsForm(Said):
    checks = _list(KindForm)


class InfoForm(Said):
    name = _text()
    version = _text()
    engine = Part(EngineForm, required=True)
    default_profile = Part(ProfileIdentityForm, required=True)
    checks = Shown({"type": "array", "items": {"type": "string"}})


class StatusForm(Said):
    status = _text()
