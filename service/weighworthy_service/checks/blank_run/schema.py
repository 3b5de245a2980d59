"""JSON form of a blank run."""

from weighworthy_service.checks.blank_run.check import BlankRunCheck, PanRun, SeriesReading
from weighworthy_service.checks.blank_run.rehearsal import UsualSample
from weighworthy_service.checks.request import WeightlessForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Flag, OneOf, Quantity, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said


class SeriesReadingForm(Form):
    builds = SeriesReading

    at = Quantity("time", "not-negative", required=True, metadata=said("Time since the start."))
    indication = Quantity("mass", required=True)


class PanRunForm(Form):
    builds = PanRun

    initial = Quantity("mass", required=True, metadata=said("Indication at the start of the run."))
    final = Quantity(
        "mass", required=True, metadata=said("Indication at its end, the pan left alone.")
    )
    duration = Quantity("time", "positive", metadata=said("From the first reading to the second."))
    chamber_temperature = Quantity(
        "temperature", metadata=said("That the chamber was heated to, as the analyser shows it.")
    )
    stable = Flag(metadata=said("Whether the balance showed both readings as stable."))
    series = ListOf(
        Part(SeriesReadingForm),
        maximum=5000,
        metadata=said("Readings on the way, in order of time: the rate of drift follows."),
    )


def _sample_mass() -> Quantity:
    return Quantity(
        "mass",
        "positive",
        required=True,
        metadata=said("Of the usual sample: a change of zero is told as moisture of it."),
    )


class UsualSampleForm(Form):
    """The sample that blank runs stand for."""

    builds = UsualSample

    sample_mass = _sample_mass()


class BlankRunForm(WeightlessForm):
    builds = BlankRunCheck

    check = OneOf(("blank-run",), metadata=said("Optional; must agree with the address."))
    runs = ListOf(Part(PanRunForm), minimum=1, maximum=100, required=True)
    sample_mass = _sample_mass()
    pan = OneOf(("empty", "inert"), metadata=said("Empty, or with something that loses nothing."))
    on_pan = Text(metadata=said("What lies on a pan that is inert."))
    usual_duration = Quantity(
        "time", "positive", metadata=said("Of a usual drying: a blank run should take as long.")
    )
