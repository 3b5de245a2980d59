"""JSON form of a repeatability check."""

from weighworthy_service.checks.repeatability.check import Placing, RepeatabilityCheck
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import load_field, said


class RepeatedPlacingForm(Form):
    builds = Placing

    zero = Quantity(
        "mass",
        metadata=said(
            "Reading before the load. Absent: the last zero given before it; none given: the "
            "indication is net already, of a tared balance."
        ),
    )
    indication = Quantity("mass", required=True)
    stable = Flag(metadata=said("Whether the balance showed the reading as stable."))


class RepeatabilityForm(CheckForm):
    builds = RepeatabilityCheck

    check = OneOf(("repeatability",), metadata=said("Optional; must agree with the address."))
    load = load_field(  # type: ignore[assignment]
        required=True, metadata=said("Names of the weights, put on together each time.")
    )
    placings = ListOf(Part(RepeatedPlacingForm), minimum=2, maximum=100, required=True)
