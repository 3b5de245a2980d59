"""The JSON form of a tolerance profile. What it means, and what contradicts, is in `profiles`."""

import re
from typing import Any, Final

from weighworthy_service.metrology.quantity import (
    QuantityError,
    quantity_example,
    quantity_pattern,
    read_quantity,
)
from weighworthy_service.wire.coded import refused
from weighworthy_service.wire.containers import ListOf, MapOf, Part
from weighworthy_service.wire.fields import (
    Count,
    Date,
    OneOf,
    PureNumber,
    Quantity,
    Strict,
    Text,
)
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.limits import AmountOf, LimitForm
from weighworthy_service.wire.request import ProfileReference, said

MAX_RULES: Final = 200
_ID: Final = "[a-z0-9][a-z0-9-]{0,63}"
_REVISION: Final = "[A-Za-z0-9._-]{1,32}"
_SEVERITIES: Final = ("void", "no-pass", "warning", "note")
_CORRELATIONS: Final = ("by-sign", "independent", "worst")
_PERIODS: Final = ("day", "week", "month", "year")
_STEPS: Final = ("repeat", "adjust", "service", "out-of-service")
_SHARE: Final = "([1-9][0-9]{0,2})/([1-9][0-9]{0,2}) of limit"


class Share(Strict[tuple[int, int]]):
    """`"1/3 of limit"` into (1, 3)."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> tuple[int, int]:
        parts = re.fullmatch(_SHARE, value) if isinstance(value, str) else None
        if parts is None:
            raise refused("malformed-text", 'write a share like "1/3 of limit"')
        return int(parts[1]), int(parts[2])

    def keywords(self) -> dict[str, Any]:
        return {"type": "string", "pattern": f"^{_SHARE}$", "examples": ["1/3 of limit"]}


class Period(Strict[str]):
    """A calendar period, or a time like "24 h"; kept as written."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if value not in _PERIODS:
            try:
                read_quantity(value, "time", "positive")
            except QuantityError as error:
                detail = f"{error.detail}; or one of: {', '.join(_PERIODS)}"
                raise refused(error.code, detail) from None
        return str(value)

    def keywords(self) -> dict[str, Any]:
        periods = {"type": "string", "enum": list(_PERIODS)}
        times = {"type": "string", "pattern": quantity_pattern("time", "positive")}
        return {"anyOf": [periods, times], "examples": ["day", quantity_example("time")]}


class WeightShareForm(Form):
    """Largest share of a limit that the weights' own error may take."""

    share = Share(required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class WeightShareOf(Part):
    """The share alone, or an object that also says what more than it means."""

    wanted = 'a text like "1/3 of limit", or an object with share and else,'

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(WeightShareForm, **kwargs)
        self.share = Share(required=True)

    def _deserialize(
        self, value: Any, attr: Any, data: Any, partial: Any = None, **kwargs: Any
    ) -> Any:
        if isinstance(value, str):
            return {"share": self.share.deserialize(value)}
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        return super()._deserialize(value, attr, data, partial, **kwargs)

    def keywords(self) -> dict[str, Any]:
        long = {
            "type": "object",
            "properties": {
                "share": self.share.keywords(),
                "else": {"type": ["string", "null"], "enum": [*_SEVERITIES, None]},
            },
            "required": ["share"],
            "additionalProperties": False,
        }
        return {"anyOf": [self.share.keywords(), long]}


class ScatterForm(Form):
    """Twice the stated repeatability as a share of the load that is weighed."""

    share = Quantity("share", "positive", required=True)
    floor = AmountOf(metadata=said("Smallest repeatability that counts, in d, like 0.41 d."))
    observations = Count(2, 10_000, metadata=said("Fewest that the repeatability rests on."))
    otherwise = OneOf(_SEVERITIES, data_key="else")


class StartWindowForm(Form):
    """Where the initial load of a simulated loss must lie."""

    target = Quantity("mass", "positive", required=True)
    allowance = Quantity("mass", "not-negative", required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class DecisionForm(Form):
    """How a value, its uncertainty and a limit make a verdict."""

    rule = OneOf(
        ("simple", "guarded", "four-way"),
        metadata=said("Absent: simple, the value itself against the limits."),
    )
    guard_factor = PureNumber(
        positive=True, metadata=said("r of the guard band r·U; absent: 1.", examples=["1"])
    )
    coverage = Quantity("share", "positive", metadata=said("Of U; absent: 95.45 %, k = 2."))
    rounding = OneOf(
        ("absolute", "rounding"), metadata=said("ASTM E29: whether the value is rounded first.")
    )
    rounding_to = AmountOf(
        metadata=said("Step to round to; absent: the last written digit of the limit.")
    )


class WarmUpForm(Form):
    """Shortest time the balance has been on."""

    at_least = Quantity("time", "positive", required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class RoundsForm(Form):
    """Fewest judged rounds of a span check."""

    at_least = Count(1, 100, required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class PointsForm(Form):
    """Fewest points of a linearity check."""

    at_least = Count(1, 200, required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class PlacingsForm(Form):
    """Fewest placings of a check of repeatability or eccentricity."""

    at_least = Count(1, 100, required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class RunsForm(Form):
    """Fewest runs of blank runs or of a reference material."""

    at_least = Count(1, 100, required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class SetPointsForm(Form):
    """Fewest set points of a check of the heater."""

    at_least = Count(1, 100, required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class ValidityForm(Form):
    """What a check must fulfil to be valid, and what lacking it means."""

    warm_up = Part(WarmUpForm)
    rounds = Part(RoundsForm)
    points = Part(PointsForm)
    placings = Part(PlacingsForm)
    runs = Part(RunsForm)
    set_points = Part(SetPointsForm)
    weights_in_date = OneOf(_SEVERITIES)
    weights_in_class = OneOf(_SEVERITIES)
    stable = OneOf(_SEVERITIES)
    weights_at_most = WeightShareOf()
    scatter_at_most = Part(ScatterForm)
    uncertainty_within_tolerance = OneOf(_SEVERITIES)


class ScheduleForm(Form):
    """How often a check is due."""

    every = Period()
    at = OneOf(("first-use",), metadata=said("Due before the first use of the period."))
    grace = Quantity("time", "not-negative", metadata=said("How late it may be."))
    after = ListOf(
        Text(64), maximum=20, metadata=said("Occasions that make it due, like moved, power-off.")
    )


class StepForm(Form):
    """One rung of the ladder after a failure."""

    step = OneOf(_STEPS, required=True)
    times = Count(1, 10)


def _selector(sentence: str) -> ListOf:
    return ListOf(Text(128), minimum=1, maximum=200, metadata=said(f"{sentence} Absent: all."))


class RuleForm(Form):
    """Where a rule applies, exact or glob, and what it sets there."""

    checks = _selector("Kinds of check, exact or glob.")
    sites = _selector("`site` of the instrument, exact or glob.")
    models = _selector("`model` of the instrument, exact or glob.")
    instruments = _selector("`id` of the instrument, exact or glob.")
    methods = _selector("`method` of the request, exact or glob.")
    stages = _selector("as-found or as-left, of a span check.")
    limits = MapOf(Part(LimitForm), maximum=50, metadata=said("By the name of the criterion."))
    start_window = Part(StartWindowForm)
    decision = Part(DecisionForm)
    validity = Part(ValidityForm)
    weights_correlation = OneOf(
        _CORRELATIONS, metadata=said("How errors of several weights add up; absent: by-sign.")
    )
    schedule = Part(ScheduleForm)
    response = ListOf(
        Part(StepForm), minimum=1, maximum=20, metadata=said("What to do after a fail, in order.")
    )
    loosens = Text(
        500, metadata=said("Why settings of this rule are looser than what it builds on.")
    )


class ProfileSchema(Form):
    """A whole profile; loads to a dict of what was stated, amounts and numbers read exactly."""

    id = Text(64, pattern=_ID, required=True, metadata=said("The same for all its revisions."))
    revision = Text(
        32, pattern=_REVISION, required=True, metadata=said("Any name; dates say which is later.")
    )
    title = Text(200)
    description = Text(4000)
    extends = ProfileReference(
        metadata=said('The profile whose rules come before these: "id@revision", or the whole.')
    )
    effective_from = Date(metadata=said("First day; absent: from the beginning."))
    effective_to = Date(metadata=said("Last day; absent: until a later revision begins."))
    approved_by = Text(200)
    use_on = ListOf(
        Text(32),
        minimum=1,
        maximum=10,
        metadata=said("Verdicts that let a balance be used; absent: pass and conditional-pass."),
    )
    loosens = Text(500, metadata=said("Why use_on is wider than what it builds on has it."))
    rules = ListOf(
        Part(RuleForm),
        minimum=1,
        maximum=MAX_RULES,
        required=True,
        metadata=said("From top to bottom: for each setting the last rule that matches wins."),
    )
