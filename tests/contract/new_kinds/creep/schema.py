"""Its JSON form."""

from creep.check import CreepCheck, Reading
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import load_field, said


class CreepReadingForm(Form):
    builds = Reading

    at = Quantity("time", "not-negative", required=True, metadata=said("Since the load is on."))
    indication = Quantity("mass", required=True, metadata=said("Reading of the load."))
    stable = Flag(metadata=said("Whether the balance showed the reading as stable."))


class CreepForm(CheckForm):
    builds = CreepCheck

    check = OneOf(("creep",), metadata=said("Optional; must agree with the address."))
    load = load_field(required=True)  # type: ignore[assignment]
    readings = ListOf(Part(CreepReadingForm), minimum=2, maximum=100, required=True)
