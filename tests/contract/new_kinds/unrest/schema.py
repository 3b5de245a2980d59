"""Its JSON form."""

from unrest.check import Reading, UnrestCheck
from weighworthy_service.checks.request import WeightlessForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import OneOf, Quantity
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said


class UnrestReadingForm(Form):
    builds = Reading

    indication = Quantity("mass", required=True, metadata=said("Reading of the empty pan."))


class UnrestForm(WeightlessForm):
    builds = UnrestCheck

    check = OneOf(("unrest",), metadata=said("Optional; must agree with the address."))
    readings = ListOf(Part(UnrestReadingForm), minimum=2, maximum=100, required=True)
