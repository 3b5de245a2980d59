"""The JSON form of what a review and a resolution are asked with, and of their answers."""

from collections.abc import Mapping
from typing import Any, Final

from marshmallow.fields import Field

from weighworthy_service.metrology.limits import CRITERION_UNITS
from weighworthy_service.wire.card import toml_field
from weighworthy_service.wire.containers import ListOf, MapOf, Part
from weighworthy_service.wire.fields import Date, Flag, OneOf, PureNumber, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import (
    MAX_WEIGHTS,
    EnvironmentForm,
    InstrumentForm,
    ProfileReference,
    WeightForm,
    load_field,
    said,
)
from weighworthy_service.wire.responses import ProfileIdentityForm
from weighworthy_service.wire.shown import Said, Shown, listed, number, text

MAX_INSTRUMENTS: Final = 100
_STAGES: Final = ("as-found", "as-left")


def _weights() -> MapOf:
    sentence = "The weights at hand by their own names."
    return MapOf(Part(WeightForm), maximum=MAX_WEIGHTS, metadata=said(sentence))


class LoadsForm(Form):
    """The loads that limits are judged with, by kind of check."""


class ReviewedForm(Form):
    """Without instruments only the profile itself is reviewed."""

    profile = ProfileReference(metadata=said("Absent: the built-in general one."))
    profile_toml = toml_field()
    instruments = ListOf(Part(InstrumentForm), maximum=MAX_INSTRUMENTS)
    weights = _weights()
    loads = Part(LoadsForm)  # type: ignore[assignment]  # see `review_form`
    environment = Part(EnvironmentForm)
    method = Text(metadata=said("Rules for methods count if they take this one."))
    performed_on = Date(
        metadata=said("The day for which a plain profile name is meant, and weights are in date.")
    )
    spread = PureNumber(
        positive=True,
        metadata=said(
            "Standard deviation of the true errors of balances of the kind, in halves of the "
            "tolerance: then the global risks of JCGM 106:2012, 9.5, are told too.",
            examples=["0.33"],
        ),
    )


def review_form(loads: Mapping[str, Field[Any]]) -> type[ReviewedForm]:
    """The form of a request for a review of kinds that take such loads, by kind."""
    for name, field in loads.items():
        field.data_key = field.attribute = name
    of_kinds = type(
        "LoadsForm",
        (LoadsForm,),
        {
            "__doc__": LoadsForm.__doc__,
            **{name.replace("-", "_"): field for name, field in loads.items()},
        },
    )
    doc = ReviewedForm.__doc__
    return type("ReviewRequestForm", (ReviewedForm,), {"__doc__": doc, "loads": Part(of_kinds)})


class ResolveRequestForm(Form):
    """With a load, limits are also told in figures."""

    profile = ProfileReference(metadata=said("Absent: the built-in general one."))
    profile_toml = toml_field()
    instrument = Part(InstrumentForm, required=True)
    check = Text(64, required=True, metadata=said("A kind of check.", examples=["span"]))
    method = Text()
    stage = OneOf(_STAGES, metadata=said("Of a span check; absent: what rules without stage say."))
    load = load_field(  # type: ignore[assignment]
        metadata=said("Names of the weights on the pan; of a simulated loss, at its start.")
    )
    weights = _weights()
    performed_on = Date(metadata=said("The day for which a plain profile name is meant."))


def _line() -> Shown:
    sentence = "From 1; null: not sent as TOML, or written in a document that was not sent."
    return Shown({"type": "integer"}, null=True, metadata=said(sentence))


def _document() -> Shown:
    return text("`id@revision` of the document that the pointer is in.", null=True)


class PlaceForm(Said):
    """Where in a profile document something stands."""

    pointer = text("JSON pointer in the document.")
    line = _line()
    document = _document()


class ProfileErrorForm(Said):
    pointer = text("JSON pointer in the profile as it was sent.")
    line = _line()
    code = text("For programs. May grow.")
    detail = text("For people.")


class RemarkForm(Said):
    code = text("For programs. May grow.")
    severity = OneOf(("error", "warning", "note"), required=True)
    pointer = text()
    line = _line()
    document = _document()
    message = text("For people.")


class ChancesForm(Said):
    one_set = number(
        "For weights that are exactly what is stated of them: only what is new in every check "
        "varies, as digitisation, repeatability, placing and the drift of a hot zero.",
        null=False,
    )
    all_sets = number("Over all weights and all air that the budget allows.", null=False)


class AcceptanceForm(ChancesForm):
    at = number("How far off the balance is, in tolerances.", null=False)


class YearlyForm(Said):
    checks = Shown({"type": "integer"}, metadata=said("That the schedule makes in 365 days."))
    at_least_one = number("Over all sets of weights, one set being used all year.", null=False)
    at_least_one_for_one_set = number("For weights that are exactly what is stated.", null=False)


class GlobalRisksForm(Said):
    """Joint probabilities of all balances of the kind, over all sets of weights."""

    consumer = number("Off, and passed.", null=False)
    producer = number("In order, and failed.", null=False)


class JudgementForm(Said):
    """A limit as it acts on one balance with one load.

    Chances are those of JCGM 106:2012, 9, with normal errors, and readings in steps of d of which
    the zero stands anywhere between two.
    """

    instrument = text("Its id.", null=True)
    instrument_index = Shown({"type": "integer"}, metadata=said("Its position in the request."))
    check = text()
    criterion = text()
    stage = text("null: at every stage.", null=True)
    load = number("Nominal load in g.")  # type: ignore[assignment]
    lower_limit = number()
    upper_limit = number()
    unit = OneOf(CRITERION_UNITS, required=True)
    expanded_uncertainty = number(null=False)
    tolerance_to_uncertainty = number(
        "Half of the tolerance's width, or the distance of a single limit from zero, over the "
        "expanded uncertainty. 3 is sensible."
    )
    decision_rule = text()
    attainable = Flag(
        required=True, metadata=said("Whether a balance without error can be shown to keep it.")
    )
    void_by: Any = Shown(
        {"type": "array", "items": {"type": "string"}},
        metadata=said(
            "Codes of what makes every such check void, or keeps it from passing, whatever the "
            "readings: a load above the capacity, weights without a due date. Then no chances are "
            "told."
        ),
    )
    false_rejection = Part(
        ChancesForm,
        required=True,
        allow_none=True,
        metadata=said(
            "That a balance without error is not let into use by one check. null: `void_by` says "
            "why."
        ),
    )
    false_acceptance = Part(
        AcceptanceForm,
        required=True,
        allow_none=True,
        metadata=said(
            "That a balance which is `at` tolerances off is let into use by one check. null: "
            "`void_by` says why."
        ),
    )
    false_failures_a_year = Part(
        YearlyForm,
        required=True,
        allow_none=True,
        metadata=said("null: no schedule, or `void_by` says why."),
    )
    sensible_scale_interval = number(
        "The largest d in g, of 1, 2 or 5 times a power of ten, with which the ratio is at least "
        "3, all else equal. null: none, or a limit that is itself counted in d."
    )
    global_risks = Part(
        GlobalRisksForm,
        required=True,
        allow_none=True,
        metadata=said("null: no `spread` given, or `void_by` says why."),
    )
    limit = Part(PlaceForm, required=True, metadata=said("Where the limit stands."))


class ReviewForm(Said):
    """A profile with errors is an answer too: `well_formed` is then false, `profile` null."""

    profile = Part(ProfileIdentityForm, required=True, allow_none=True)
    well_formed = Flag(required=True)
    errors = listed(ProfileErrorForm, "What keeps it from being used.")
    remarks = listed(
        RemarkForm, "Worst first. An error among them can be used, but makes no sense."
    )
    judgement = listed(JudgementForm, "A row for each limit, balance, load and stage.")


def _written() -> Shown:
    # Any JSON value: what a profile may say of the setting.
    return Shown({}, null=True, metadata=said("In the form of a profile document."))


class LostForm(Said):
    value = _written()
    place = Part(PlaceForm, required=True)


class SettingForm(Said):
    name = text("Like `limits.loss_error`.")
    value = _written()
    lower_limit = number("Of a limit, for the load given; g or %.")
    upper_limit = number()
    place = Part(
        PlaceForm,
        required=True,
        allow_none=True,
        metadata=said("The rule that made it. null: the default, written nowhere."),
    )
    lost = listed(LostForm, "Rules that apply as well and were overruled, the last first.")


class ResolutionForm(Said):
    profile = Part(ProfileIdentityForm, required=True)
    extends: Any = Shown(
        {"type": "array", "items": {"type": "string"}},
        metadata=said("What it builds on, the nearest first."),
    )
    settings = listed(SettingForm, "In the order of their names.")
