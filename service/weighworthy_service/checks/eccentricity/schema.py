"""JSON form of an eccentricity check."""

from weighworthy_service.checks.eccentricity.check import EccentricityCheck, PlacedAt
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import load_field, said


class PlacedAtForm(Form):
    builds = PlacedAt

    position = Text(
        64,
        required=True,
        metadata=said('Place on the pan, named freely; at least once "centre".')
        | {"examples": ["centre", "front left"]},
    )
    zero = Quantity(
        "mass",
        metadata=said(
            "Reading before the load. Absent: the last zero given before it; none given: the "
            "indication is net already, of a tared balance."
        ),
    )
    indication = Quantity("mass", required=True)
    stable = Flag(metadata=said("Whether the balance showed the reading as stable."))


class EccentricityForm(CheckForm):
    builds = EccentricityCheck

    check = OneOf(("eccentricity",), metadata=said("Optional; must agree with the address."))
    load = load_field(  # type: ignore[assignment]
        required=True, metadata=said("Names of the weights, put on together each time.")
    )
    placings = ListOf(Part(PlacedAtForm), minimum=3, maximum=30, required=True)
