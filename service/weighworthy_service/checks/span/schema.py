"""JSON form of a span check."""

from weighworthy_service.checks.request import CheckForm
from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import load_field, said


class RoundForm(Form):
    builds = Round

    stage = OneOf(("as-found", "adjustment", "as-left"), metadata={"default": "as-found"})
    load = load_field(  # type: ignore[assignment]
        metadata=said("Names of the weights on the pan. Only adjustments do without.")
    )
    zero = Quantity("mass", metadata=said("Reading before the load. Only adjustments do without."))
    indication = Quantity("mass", metadata=said("Reading. Only adjustments do without."))
    zero_after = Quantity("mass", metadata=said("Reading after the load was taken off."))
    stable = Flag(metadata=said("Whether the balance showed the reading as stable."))


class SpanForm(CheckForm):
    builds = SpanCheck

    check = OneOf(("span",), metadata=said("Optional; must agree with the address."))
    rounds = ListOf(Part(RoundForm), minimum=1, maximum=100, required=True)
