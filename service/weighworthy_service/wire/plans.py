"""The JSON form of what plans are asked with. Shares are percentages of what they are of."""

from collections.abc import Mapping
from typing import Any, Final

from marshmallow.fields import Field

from weighworthy_service.wire.card import toml_field
from weighworthy_service.wire.containers import ListOf, MapOf, Part
from weighworthy_service.wire.fields import Count, Date, Flag, OneOf, PureNumber, Quantity, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.profile import StartWindowForm
from weighworthy_service.wire.request import (
    EnvironmentForm,
    InstrumentForm,
    ProfileReference,
    WeightForm,
    said,
)

# What a laboratory owns, for a search that goes through their combinations.
MAX_OWNED: Final = 20
MAX_ON_PAN: Final = 6
MAX_SHOWN: Final = 20
MAX_MASSES: Final = 20


def _instrument(**kwargs: Any) -> Part:
    sentence = "The balance; a plan needs its repeatability beside the scale interval."
    return Part(InstrumentForm, required=True, metadata=said(sentence), **kwargs)


def _weights(maximum: int = MAX_OWNED) -> MapOf:
    sentence = "The weights that the laboratory owns, by their own names."
    return MapOf(Part(WeightForm), maximum=maximum, required=True, metadata=said(sentence))


def _basis() -> OneOf:
    return OneOf(("wet", "dry"), metadata={"default": "wet"})


def _share(sentence: str, **kwargs: Any) -> Quantity:
    return Quantity("share", "positive", metadata=said(sentence), **kwargs)


def _ratio() -> PureNumber:
    sentence = "Least ratio of tolerance to expanded uncertainty; absent: 3."
    return PureNumber(positive=True, metadata=said(sentence, examples=["3"]))


def _rejection() -> Quantity:
    return _share("Largest chance that a balance without error is rejected; absent: 1 %.")


def _weights_share() -> Quantity:
    return _share("Part of a tolerance that the weights may take; absent: a third.")


class PlanDecisionForm(Form):
    """How a value, its uncertainty and a limit make a verdict, as in a profile."""

    rule = OneOf(("simple", "guarded", "four-way"))
    guard_factor = PureNumber(
        positive=True, metadata=said("r of the guard band r·U; absent: 1.", examples=["1"])
    )
    coverage = Quantity(
        "share", "positive", metadata=said("Of U, below 100 %; absent: 95.45 %, k = 2.")
    )


def _decision(sentence: str) -> Part:
    return Part(PlanDecisionForm, metadata=said(sentence))


class LossPlanForm(Form):
    """The tolerance stands in a profile, or in `within` with `decision`."""

    instrument = _instrument()
    weights = _weights()
    within = _share("The tolerance of the loss, to both sides, in percentage points.")
    decision = _decision("With `within`; absent: simple, 95.45 %.")
    profile = ProfileReference(metadata=said("In place of `within`."))
    profile_toml = toml_field()
    start_window = Part(StartWindowForm, metadata=said("Absent: that of the profile."))
    basis = _basis()
    heating = Flag(
        metadata=said("Whether the run is heated; absent: what is stated of heat counts.")
    )
    wanted_loss = _share("A loss to come near to; absent: any.")
    loss_allowance = Quantity(
        "share", "not-negative", metadata=said("How far from it at most; absent: however far.")
    )
    off_by = _share(
        "An error of a balance, in percentage points of the loss, of which the chance to pass is "
        "told; absent: 1.5 tolerances."
    )
    ratio = _ratio()
    false_rejection = _rejection()
    weights_on_pan = Count(2, MAX_ON_PAN, metadata=said("Most weights on the pan; absent: 4."))
    show = Count(1, MAX_SHOWN, metadata=said("How many options are told; absent: 5."))
    environment = Part(EnvironmentForm)
    method = Text()
    performed_on = Date(
        metadata=said("The day for which a plain profile name is meant, and weights are in date.")
    )


class PlanLoadsForm(Form):
    """The loads by kind of check; of some kinds only, if only they are planned."""


class WantedTolerancesForm(Form):
    """Tolerances that the laboratory would like, to both sides."""

    span = Quantity("mass", "positive")
    linearity = Quantity("mass", "positive")
    simulated_loss = Quantity(
        "share", "positive", data_key="simulated-loss", attribute="simulated-loss"
    )


class TolerancePlanForm(Form):
    """Of each load the tightest tolerance is told, and which weights it needs."""

    instrument = _instrument()
    weights = _weights()
    loads = Part(PlanLoadsForm, required=True)  # type: ignore[assignment]  # see the function below
    wanted = Part(
        WantedTolerancesForm, metadata=said("Absent: the class of weights that limits nothing.")
    )
    decision = _decision("Absent: simple, 95.45 %.")
    ratio = _ratio()
    false_rejection = _rejection()
    weights_share = _weights_share()
    environment = Part(EnvironmentForm)


def tolerance_plan_form(loads: Mapping[str, Field[Any]]) -> type[TolerancePlanForm]:
    """The form with the loads that kinds of check take, by kind."""
    for name, field in loads.items():
        field.data_key = field.attribute = name
    members = {name.replace("-", "_"): field for name, field in loads.items()}
    of_kinds = type(
        "PlanLoadsForm", (PlanLoadsForm,), {"__doc__": PlanLoadsForm.__doc__, **members}
    )
    more = {"__doc__": TolerancePlanForm.__doc__, "loads": Part(of_kinds, required=True)}
    return type("TolerancePlanForm", (TolerancePlanForm,), more)


class SamplePlanForm(Form):
    """No weights take part: it is about results, and about single weighings."""

    instrument = _instrument()
    loss = Quantity(
        "share", "not-negative", required=True, metadata=said("Typical moisture of the product.")
    )
    basis = _basis()
    heating = Flag(metadata=said("Whether the run is heated.", default=True))
    target_uncertainty = _share(
        "Expanded uncertainty that a moisture result may have, in percentage points.",
        required=True,
    )
    share = _share("Part of it that the balance may take; absent: a third.")
    coverage = Quantity(
        "share", "positive", metadata=said("Of that uncertainty; absent: 95.45 %, k = 2.")
    )
    required_accuracy = _share("Of a single weighing, for cg-18; absent: 0.10 %.")
    safety_factor = PureNumber(positive=True, metadata=said("Of cg-18; absent: 1.", examples=["2"]))
    slope_error = Quantity(
        "share",
        "not-negative",
        metadata=said("Error in proportion to the load that is not corrected; absent: none."),
    )
    sample_masses = ListOf(
        Quantity("mass", "positive"),
        maximum=MAX_MASSES,
        metadata=said("Masses of which the uncertainty is told, too."),
    )


class ProductPlanForm(Form):
    """What the balance may take is a part of the room between typical moisture and limit, or of
    the uncertainty of a result."""

    instrument = _instrument()
    weights = _weights()
    lower_limit = Quantity(
        "share", "not-negative", metadata=said("Of the product's specification.")
    )
    upper_limit = Quantity("share", "positive", metadata=said("Of the product's specification."))
    typical = Quantity(
        "share", "positive", required=True, metadata=said("Typical moisture of the product.")
    )
    sample_mass = Quantity("mass", "positive", required=True)
    share_of_room = _share("Part of the distance from typical moisture to the nearest limit.")
    target_uncertainty = _share("Expanded uncertainty that a result may have, with `share` of it.")
    share = _share("Part of that uncertainty.")
    basis = _basis()
    heating = Flag(metadata=said("Whether results come from a heated run.", default=True))
    start_window = Part(
        StartWindowForm,
        metadata=said("Where a simulated loss may begin; absent: the sample mass ± a fifth of it."),
    )
    decision = _decision("Of the profile; absent: guarded, 95.45 %.")
    ratio = _ratio()
    false_rejection = _rejection()
    weights_share = _weights_share()
    id = Text(64, pattern="[a-z0-9][a-z0-9-]{0,63}", metadata=said("Of the profile."))
    revision = Text(32, pattern="[A-Za-z0-9._-]{1,32}", metadata=said("Of the profile."))
    title = Text(metadata=said("Of the profile."))
    method = Text(metadata=said("The rules of the profile are for this method alone."))
    environment = Part(EnvironmentForm)
