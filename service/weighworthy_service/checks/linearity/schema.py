"""JSON form of a linearity check."""

from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import load_field, said


class PointForm(Form):
    builds = Point

    load = load_field(required=True)  # type: ignore[assignment]
    zero = Quantity("mass", metadata=said("Absent: the last zero given before this point."))
    indication = Quantity("mass", required=True)
    direction = OneOf(("up", "down"), metadata=said("Needed only for the hysteresis."))
    stable = Flag(metadata=said("Whether the balance showed the reading as stable."))


class LinearityForm(CheckForm):
    builds = LinearityCheck

    check = OneOf(("linearity",), metadata=said("Optional; must agree with the address."))
    points = ListOf(Part(PointForm), minimum=1, maximum=200, required=True)
