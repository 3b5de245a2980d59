"""The JSON form of what a bench card is asked with, and of the card."""

from collections.abc import Mapping
from typing import Any, Final

from marshmallow.fields import Field

from weighworthy_service.metrology.limits import CRITERION_UNITS
from weighworthy_service.wire.coded import refused
from weighworthy_service.wire.containers import AnyObject, ListOf, MapOf, Part
from weighworthy_service.wire.fields import Date, Flag, OneOf, Strict, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import (
    MAX_WEIGHTS_ON_PAN,
    EnvironmentForm,
    InstrumentForm,
    ProfileReference,
    load_field,
    said,
    weights_field,
)
from weighworthy_service.wire.responses import EngineForm, ProfileIdentityForm
from weighworthy_service.wire.shown import Said, Shown, a_verdict, listed, number, text

# What a page has room for.
MAX_LOADS: Final = 12
# As large as a profile may be in a folder.
MAX_TOML: Final = 256 * 1024


def toml_field() -> Text:
    """A profile as the TOML text that people write."""
    sentence = "The profile as TOML text, in place of `profile`; then lines can be named."
    return Text(MAX_TOML, metadata=said(sentence))


class Loads(Strict[tuple[tuple[str, ...], ...]]):
    """One load as a list of names, or several as a list of such lists."""

    wanted = 'names of weights like ["A50"], or a list of loads like [["A2"], ["A10"]],'

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._one = load_field()
        self._several = ListOf(load_field(), minimum=1, maximum=MAX_LOADS)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        if any(isinstance(entry, list) for entry in value):
            return self._several.deserialize(value)
        if not value:
            raise refused("too-few", "at least 1 entry is needed")
        return (self._one.deserialize(value),)

    def keywords(self) -> dict[str, Any]:
        name = {"type": "string", "minLength": 1, "maxLength": MapOf.NAME_LENGTH}
        one = {"type": "array", "minItems": 1, "maxItems": MAX_WEIGHTS_ON_PAN, "items": name}
        several = {"type": "array", "minItems": 1, "maxItems": MAX_LOADS, "items": one}
        return {"anyOf": [one, several]}


class AskedForm(Form):
    """Loads to a dict; which loads a check takes, and what they mean, is settled later."""

    profile = ProfileReference(metadata=said("Absent: the built-in general one."))
    profile_toml = toml_field()
    check = Text(64, required=True, metadata=said("A kind of check.", examples=["span"]))
    instrument = Part(InstrumentForm, required=True)
    weights = weights_field(required=False)
    load = Loads(  # type: ignore[assignment]
        metadata=said("Names of weights: one load for a span check, any number for linearity.")
    )
    loads = AnyObject(  # type: ignore[assignment]
        metadata=said("What a check without `load` is tried with, as in the `loads` of a review.")
    )
    environment = Part(EnvironmentForm)
    method = Text()
    occasion = Text(32, metadata={"default": "routine"})
    performed_on = Date(
        metadata=said(
            "The day that the card is for. Absent: the last one on which all weights are in date; "
            "then a profile of several revisions has to be named with its revision."
        )
    )


def card_form(members: Mapping[str, Field[Any]]) -> type[Form]:
    """The form of a request for a card, with the members that only some kinds take."""
    declared = dict(AskedForm._declared_fields)
    names = list(declared)
    before = names[: names.index("load") + 1]
    first = {name: declared.pop(name) for name in before}
    more = {"__doc__": AskedForm.__doc__, **first, **members, **declared}
    return type("CardRequestForm", (Form,), more)


def _texts(sentence: str) -> Shown:
    return Shown({"type": "array", "items": {"type": "string"}}, metadata=said(sentence))


class CardBandForm(Said):
    verdict = a_verdict("What the displayed values get.")
    usable = Flag(required=True, metadata=said("The verdict held against `use_on`."))
    first = Shown(
        {"type": "string"},
        null=True,
        data_key="from",
        metadata=said("First displayed value, included, as a request takes it; null: no end."),
    )
    to = text("Last displayed value, included; null: no end.", null=True)


class CardFiguresForm(Said):
    """At the middle of the range."""

    name = text("The criterion that decides on the reading.")
    lower_limit = number()
    upper_limit = number()
    unit = OneOf(CRITERION_UNITS, required=True)
    expanded_uncertainty = number()
    decision_rule = text(null=True)
    limit_source = text(null=True)


class CardReadingForm(Said):
    reading = text(
        "`indication`, `zero_after`, `difference`, `initial`, `final` or `displayed_loss`. "
        "May grow."
    )
    title = text("For people.")
    stage = text("null: at every stage.", null=True)
    load = _texts("Weights on the pan.")  # type: ignore[assignment]
    nominal = text("Nominal mass of the load.")
    given = text("Displayed value at the start that the bands go with.", null=True)
    required = Flag(required=True, metadata=said("Without it the check cannot pass."))
    bands = listed(CardBandForm, "Displayed values by verdict, best first. No others let use.")
    messages = _texts("Why no displayed value passes.")
    elsewhere = _texts("Verdicts of displayed values in no band.")
    criterion = Part(CardFiguresForm, required=True, allow_none=True)
    criterion_as_left = Part(
        CardFiguresForm,
        required=True,
        allow_none=True,
        metadata=said("Figures after an adjustment, where only they differ by stage."),
    )


class CardInstrumentForm(Said):
    id = text(null=True)
    model = text(null=True)
    site = text(null=True)
    scale_interval = text()
    loss_interval = text(null=True)
    capacity = text(null=True)


class CardWeightForm(Said):
    name = text()
    nominal = text()
    weight_class = text(null=True)
    certificate = text(null=True)
    due_on = text(null=True)


class CardStepForm(Said):
    text = text("What to do.")
    readings = Shown(
        {"type": "array", "items": {"type": "integer"}},
        metadata=said("Positions in `readings` of what is then on the display."),
    )


class CardCombinedForm(Said):
    criterion = text()
    title = text()
    from_load = text("Nominal load from which on the limits hold.")
    lower_limit = text(null=True)
    upper_limit = text(null=True)
    required = Flag(required=True)


class CardRungForm(Said):
    step = text("null: the profile states none.", null=True)
    times = Shown({"type": "integer"}, null=True)
    text = text("For people.")


class CardWarningForm(Said):
    code = text("Of a finding.")
    message = text("For people.")


class CardForm(Said):
    """Displayed values are texts in the digits of the display, with their unit."""

    check = text()
    title = text()
    profile = Part(ProfileIdentityForm, required=True)
    profile_title = text(null=True)
    engine = Part(EngineForm, required=True)
    instrument = Part(CardInstrumentForm, required=True)
    method = text(null=True)
    occasion = text()
    basis = text("Of a simulated loss.", null=True)
    performed_on = text("As asked.", null=True)
    valid_until = text("Last day on which all weights are in date and the profile is.", null=True)
    weights = listed(CardWeightForm, "Those used.")
    can_pass = Flag(required=True, metadata=said("Whether any displays pass as a whole."))
    at_best = a_verdict("The best that displays can get; null: nothing judged, or no check.")
    usable = Flag(required=True, metadata=said("Whether that lets the balance be used."))
    spoils = text(
        "`void`: every display is void, also one outside the limits; `no-pass`: one within is "
        "void, one outside still a fail; null: neither. May grow.",
        null=True,
    )
    obstacles = _texts("What keeps the check from passing, whatever the display shows.")
    remedies = _texts("What to do where no display lets the balance be used.")
    conditions = _texts("What a check must fulfil to count.")
    steps = listed(CardStepForm, "What to do, in order.")
    readings = listed(CardReadingForm)
    combined = listed(CardCombinedForm, "Limits that only an evaluation of all readings can hold.")
    use_on = _texts("Verdicts that let the balance be used.")
    schedule = text("When the check is due.", null=True)
    response = listed(CardRungForm, "What to do if the check fails.")
    cautions = _texts("What to beware of.")
    warnings = listed(CardWarningForm, "For the person responsible for profile and weights.")
