"""The JSON form of a tolerance profile. What it means, and what contradicts, is in `profiles`."""

import re
from typing import Any, Final

from weighworthy_service.metrology.limits import Amount, amount_pattern, read_amount
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
    Flag,
    OneOf,
    PureNumber,
    Quantity,
    Strict,
    Text,
)
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import ProfileReference

MAX_RULES: Final = 200
_ID: Final = "[a-z0-9][a-z0-9-]{0,63}"
_REVISION: Final = "[A-Za-z0-9._-]{1,32}"
_SEVERITIES: Final = ("void", "no-pass", "warning", "note")
_CORRELATIONS: Final = ("by-sign", "independent", "worst")
_PERIODS: Final = ("day", "week", "month", "year")
_STEPS: Final = ("repeat", "adjust", "service", "out-of-service")
_SHARE: Final = "([1-9][0-9]{0,2})/([1-9][0-9]{0,2}) of limit"


class AmountOf(Strict[Amount]):
    """An amount of a limit: a mass, "%", or counts and shares like "2 d", "0.1 % of load"."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Amount:
        try:
            return read_amount(value)
        except QuantityError as error:
            raise refused(error.code, error.detail) from None

    def keywords(self) -> dict[str, Any]:
        return {"type": "string", "pattern": amount_pattern(), "examples": ["1.5 mg", "2 d"]}


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


class PlainLimit(Form):
    """A two-sided tolerance, or its two sides apart."""

    within = AmountOf()
    lower = AmountOf()
    upper = AmountOf()


class CombinedLimit(PlainLimit):
    """A plain limit, or the smaller or larger of several."""

    smaller_of = ListOf(Part(PlainLimit), minimum=2, maximum=10)
    larger_of = ListOf(Part(PlainLimit), minimum=2, maximum=10)


class BandForm(CombinedLimit):
    """A limit for loads up to and including `up_to`."""

    up_to = AmountOf(required=True)


class LimitForm(CombinedLimit):
    """A limit in exactly one form; whether it may go unjudged; where it was published."""

    bands = ListOf(Part(BandForm), minimum=1, maximum=50)
    when_present = Flag()
    source = Text(500)


class StartWindowForm(Form):
    """Where the initial load of a simulated loss must lie."""

    target = Quantity("mass", "positive", required=True)
    allowance = Quantity("mass", "not-negative", required=True)
    otherwise = OneOf(_SEVERITIES, data_key="else")


class DecisionForm(Form):
    """How a value, its uncertainty and a limit make a verdict."""

    rule = OneOf(("simple", "guarded", "four-way"))
    guard_factor = PureNumber(positive=True)
    coverage = Quantity("share", "positive")
    rounding = OneOf(("absolute", "rounding"))
    rounding_to = AmountOf()


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


class ValidityForm(Form):
    """What a check must fulfil to be valid, and what lacking it means."""

    warm_up = Part(WarmUpForm)
    rounds = Part(RoundsForm)
    points = Part(PointsForm)
    weights_in_date = OneOf(_SEVERITIES)
    weights_in_class = OneOf(_SEVERITIES)
    stable = OneOf(_SEVERITIES)
    weights_at_most = WeightShareOf()
    uncertainty_within_tolerance = OneOf(_SEVERITIES)


class ScheduleForm(Form):
    """How often a check is due."""

    every = Period()
    at = OneOf(("first-use",))
    grace = Quantity("time", "not-negative")
    after = ListOf(Text(64), maximum=20)


class StepForm(Form):
    """One rung of the ladder after a failure."""

    step = OneOf(_STEPS, required=True)
    times = Count(1, 10)


def _selector() -> ListOf:
    return ListOf(Text(128), minimum=1, maximum=200)


class RuleForm(Form):
    """Where a rule applies, exact or glob, and what it sets there."""

    checks = _selector()
    sites = _selector()
    models = _selector()
    instruments = _selector()
    methods = _selector()
    stages = _selector()
    limits = MapOf(Part(LimitForm), maximum=50)
    start_window = Part(StartWindowForm)
    decision = Part(DecisionForm)
    validity = Part(ValidityForm)
    weights_correlation = OneOf(_CORRELATIONS)
    schedule = Part(ScheduleForm)
    response = ListOf(Part(StepForm), minimum=1, maximum=20)
    loosens = Text(500)


class ProfileSchema(Form):
    """A whole profile; loads to a dict of what was stated, amounts and numbers read exactly."""

    id = Text(64, pattern=_ID, required=True)
    revision = Text(32, pattern=_REVISION, required=True)
    title = Text(200)
    description = Text(4000)
    extends = ProfileReference()
    effective_from = Date()
    effective_to = Date()
    approved_by = Text(200)
    use_on = ListOf(Text(32), minimum=1, maximum=10)
    loosens = Text(500)
    rules = ListOf(Part(RuleForm), minimum=1, maximum=MAX_RULES, required=True)
