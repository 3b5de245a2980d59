"""The JSON form of limits, in the ways the trade writes them."""

from typing import Any

from weighworthy_service.metrology.limits import Amount, amount_pattern, read_amount
from weighworthy_service.metrology.quantity import QuantityError
from weighworthy_service.wire.coded import refused
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, Strict, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said


class AmountOf(Strict[Amount]):
    """An amount of a limit: a mass, "%", or counts and shares like "2 d", "0.1 % of load"."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Amount:
        try:
            return read_amount(value)
        except QuantityError as error:
            raise refused(error.code, error.detail) from None

    def keywords(self) -> dict[str, Any]:
        return {"type": "string", "pattern": amount_pattern(), "examples": ["1.5 mg", "2 d"]}


class PlainLimit(Form):
    """A two-sided tolerance, or its two sides apart."""

    within = AmountOf(metadata=said("To both sides, without sign."))
    lower = AmountOf(metadata=said("With its sign; below it a value is outside."))
    upper = AmountOf(metadata=said("With its sign; above it a value is outside."))


class CombinedLimit(PlainLimit):
    """A plain limit, or the smaller or larger of several."""

    smaller_of = ListOf(Part(PlainLimit), minimum=2, maximum=10)
    larger_of = ListOf(Part(PlainLimit), minimum=2, maximum=10)


class BandForm(CombinedLimit):
    """A limit for loads up to and including `up_to`; with `no_limit`, such loads are not judged."""

    up_to = AmountOf(
        required=True, metadata=said("The load where the band ends; it belongs to it.")
    )
    no_limit = Flag(metadata=said("true: a check at such a load is void."))


class LimitForm(CombinedLimit):
    """A limit in exactly one form; whether it may go unjudged; where it was published."""

    bands = ListOf(
        Part(BandForm),
        minimum=1,
        maximum=50,
        metadata=said("By nominal load, rising."),
    )
    when_present = Flag(metadata=said("true: not missed where it cannot be computed."))
    source = Text(500, metadata=said("Publication and clause; stands in every answer."))
