"""The JSON form of a comparison: what is asked, and what is said."""

from typing import Any, Final

from weighworthy_service.wire.card import toml_field
from weighworthy_service.wire.coded import refused
from weighworthy_service.wire.containers import AnyObject, ListOf, MapOf, Part
from weighworthy_service.wire.fields import Date, OneOf, Quantity, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import (
    MAX_WEIGHTS,
    InstrumentForm,
    ProfileReference,
    WeightForm,
    said,
)
from weighworthy_service.wire.review import PlaceForm
from weighworthy_service.wire.shown import Said, Shown, a_verdict, listed, number, text

MAX_INSTRUMENTS: Final = 200
MAX_REQUESTS: Final = 5000
# What to do with more past checks than one request takes.
SPLIT: Final = (
    "send past checks in several requests with `part` = `verdicts`, or let the client "
    "`weighworthy` do it, which adds up the answers"
)
CHANGES: Final = ("tighter", "looser", "equal", "new", "gone", "different")


class PastChecks(ListOf):
    """A list that says what to do with a longer one."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, list) and len(value) > self.maximum:
            raise refused("too-many", f"{len(value)} are more than {self.maximum}: {SPLIT}")
        return super()._deserialize(value, attr, data, **kwargs)


class SideForm(Form):
    """One side of a comparison."""

    profile = ProfileReference(
        metadata=said("In place of each request's own. Absent: each request is judged by its own.")
    )
    profile_toml = toml_field()
    weights = MapOf(
        Part(WeightForm),
        maximum=MAX_WEIGHTS,
        metadata=said(
            "In place of those of the same name in the requests, each as a whole: a new "
            "certificate. Others are left as they are."
        ),
    )


class CompareForm(Form):
    """Loads to a dict."""

    before = Part(SideForm, required=True)
    after = Part(SideForm, required=True)
    instruments = ListOf(
        Part(InstrumentForm),
        maximum=MAX_INSTRUMENTS,
        metadata=said(
            "Balances whose settings are compared. Absent: those of the requests, each once."
        ),
    )
    methods = ListOf(
        Text(),
        maximum=50,
        metadata=said("Methods to compare for, besides those that rules and requests name."),
    )
    loads = ListOf(  # type: ignore[assignment]  # the contract's name; Schema.loads is not used
        Quantity("mass", "positive"),
        maximum=50,
        metadata=said(
            "Nominal loads at which limits that depend on the load are compared. Absent: 5, 20, 50 "
            "and 100 % of the capacity and the ends of bands, for a loss the start window."
        ),
    )
    performed_on = Date(
        metadata=said("The day that decides what a profile's name without revision means.")
    )
    part = OneOf(
        ("settings", "verdicts"),
        metadata=said(
            "Absent: both. `settings`: requests only say which balances and methods there are. "
            "`verdicts`: settings are not compared; so that many requests can be split over "
            "several calls."
        ),
    )
    requests = PastChecks(
        AnyObject(),
        maximum=MAX_REQUESTS,
        metadata=said(
            "Past check requests, each with its `check`. `expect_profile_digest` is not looked at."
        ),
    )


def _written() -> Shown:
    return Shown(
        {"type": ["object", "array", "string", "null"]},
        null=False,
        metadata=said("As the profile writes it; null: not set."),
    )


class ComparedForm(Said):
    instrument = text("Its id.", null=True)
    position = Shown({"type": "integer"}, metadata=said("Of the instrument in the list."))
    check = text()
    stage = text("null: at every stage.", null=True)
    method = text("null: whatever method, unless a row names one.", null=True)
    name = text("Like `limits.loss_error`, `decision`, `validity.warm_up`.")
    load = number("Nominal load in g; null: the limit does not depend on it.")  # type: ignore[assignment]
    before = _written()
    after = _written()
    place_before = Part(PlaceForm, required=True, allow_none=True)
    place_after = Part(PlaceForm, required=True, allow_none=True)
    unit = text("Of the limits.", null=True)
    lower_limit_before = number()
    lower_limit_after = number()
    upper_limit_before = number()
    upper_limit_after = number()
    change = OneOf(
        CHANGES,
        required=True,
        metadata=said("`different`: neither side is within the other, or nobody can tell."),
    )
    by = text("How far a limit moved, without sign.", null=True)
    percent = number("Change of the tolerance's width, negative where it got tighter.")


class ReplayedForm(Said):
    index = Shown({"type": "integer"}, metadata=said("Position in `requests`."))
    labels = Shown({"type": "object", "additionalProperties": {"type": "string"}})
    check = text()
    before = a_verdict("Under the conditions before.")
    after = a_verdict("Under the conditions after.")
    as_found_before = a_verdict("On results since the last check.")
    as_found_after = a_verdict("On results since the last check.")
    usable_before = Shown({"type": "boolean"}, null=True)
    usable_after = Shown({"type": "boolean"}, null=True)
    criterion = text("Whose verdict differs; null: a condition, see the findings.", null=True)
    findings_appeared = Shown({"type": "array", "items": {"type": "string"}})
    findings_gone = Shown({"type": "array", "items": {"type": "string"}})


class FindingChangeForm(Said):
    code = text()
    severity = text()
    change = OneOf(("appeared", "gone"), required=True)
    requests = Shown({"type": "integer"}, metadata=said("How many have it."))
    indexes = Shown(
        {"type": "array", "items": {"type": "integer"}}, metadata=said("The first of them.")
    )


class RefusedFaultForm(Said):
    pointer = text("Into the request.")
    code = text()
    detail = text()


class RefusedForm(Said):
    index = Shown({"type": "integer"}, metadata=said("Position in `requests`."))
    labels = Shown({"type": "object", "additionalProperties": {"type": "string"}})
    check = text(null=True)
    side = text("`before` or `after`; null: it cannot be read at all.", null=True)
    errors = listed(RefusedFaultForm)


def _counts(sentence: str) -> Shown:
    return Shown(
        {"type": "object", "additionalProperties": {"type": "integer"}}, metadata=said(sentence)
    )


class ReplayForm(Said):
    """`requests` = `changed` + `unchanged` + `refused`."""

    requests = Shown({"type": "integer"})
    changed = Shown(
        {"type": "integer"},
        metadata=said("Whose verdict, verdict as found, or permission of use differs."),
    )
    unchanged = Shown({"type": "integer"})
    refused = Shown({"type": "integer"}, metadata=said("That could not be judged on both sides."))
    counts = _counts("Of the changed, like `pass -> fail`.")
    unchanged_counts = _counts("Of the unchanged, by verdict.")
    changes = listed(ReplayedForm)
    findings = listed(FindingChangeForm, "That come or go, also where the verdict stays.")
    refusals = listed(RefusedForm)
    weights_not_met = Shown(
        {"type": "object", "additionalProperties": {"type": "array", "items": {"type": "string"}}},
        metadata=said("By side, weights that no request has under this name."),
    )


class UnreachedForm(Said):
    before = listed(PlaceForm)
    after = listed(PlaceForm)


class ComparisonForm(Said):
    settings = listed(
        ComparedForm,
        "Every setting in force, equal ones too; empty without a profile on each side.",
    )
    rules_not_reached = Part(
        UnreachedForm,
        required=True,
        metadata=said("Rules that apply to none of these balances: of them nothing is compared."),
    )
    verdicts = Part(
        ReplayForm, required=True, allow_none=True, metadata=said("null: no requests were sent.")
    )
