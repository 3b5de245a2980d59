"""JSON form of a heater check."""

from weighworthy_service.checks.heater.check import (
    Correction,
    HeaterCheck,
    Probe,
    SetPoint,
    TimedTemperature,
)
from weighworthy_service.checks.request import WeightlessForm
from weighworthy_service.wire.containers import ListOf, Part
from weighworthy_service.wire.fields import Date, Flag, OneOf, PureNumber, Quantity, Text
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.request import said

# Of any drying chamber and its probe, in °C; a slip of the unit or of the decimal mark lies beyond.
_CHAMBER = (-50, 500)


class CorrectionForm(Form):
    builds = Correction

    at = Quantity(
        "temperature", bounds=_CHAMBER, required=True, metadata=said("Reading of the probe.")
    )
    correction = Quantity(
        "temperature_difference",
        required=True,
        metadata=said("What the certificate adds to that reading."),
    )


class ProbeForm(Form):
    builds = Probe

    id = Text()
    certificate = Text()
    interval = Quantity(
        "temperature_difference",
        "positive",
        required=True,
        metadata=said("Step of the probe's display."),
    )
    corrections = ListOf(
        Part(CorrectionForm),
        maximum=200,
        metadata=said(
            "Of the certificate, rising; interpolated on straight lines between, never beyond. "
            "Absent: readings count as they stand."
        ),
    )
    expanded_uncertainty = Quantity(
        "temperature_difference", "positive", required=True, metadata=said("From the certificate.")
    )
    coverage_factor = PureNumber(
        positive=True, metadata=said("Of that uncertainty; absent: 2.", examples=["2"])
    )
    drift = Quantity(
        "temperature_difference",
        "not-negative",
        metadata=said("Largest change seen between calibrations."),
    )
    immersion_allowance = Quantity(
        "temperature_difference",
        "not-negative",
        metadata=said("Bound on what heat that flows along the probe does to its reading."),
    )
    calibrated_on = Date()
    due_on = Date()


class TimedTemperatureForm(Form):
    builds = TimedTemperature

    at = Quantity(
        "time", "not-negative", required=True, metadata=said("Time since the temperature was set.")
    )
    temperature = Quantity("temperature", bounds=_CHAMBER, required=True)


class SetPointForm(Form):
    builds = SetPoint

    set = Quantity("temperature", bounds=_CHAMBER, required=True, metadata=said("Set temperature."))
    readings = ListOf(
        Quantity("temperature", bounds=_CHAMBER),
        minimum=1,
        maximum=1000,
        required=True,
        metadata=said("Of the probe after settling, at even intervals, without corrections."),
    )
    displayed = Quantity(
        "temperature",
        bounds=_CHAMBER,
        metadata=said("What the analyser displayed while they were read."),
    )
    settled_after = Quantity(
        "time", "not-negative", metadata=said("Time from setting the temperature to settled.")
    )
    series = ListOf(
        Part(TimedTemperatureForm),
        maximum=5000,
        metadata=said("Readings of the probe from setting on; the settling time follows."),
    )
    stable = Flag(metadata=said("Whether the temperature had settled."))


class HeaterForm(WeightlessForm):
    builds = HeaterCheck

    check = OneOf(("heater",), metadata=said("Optional; must agree with the address."))
    probe = Part(ProbeForm, required=True)
    set_points = ListOf(Part(SetPointForm), minimum=1, maximum=50, required=True)
    settled_within = Quantity(
        "temperature_difference",
        "positive",
        metadata=said("Settled means: within this of the mean of the readings, either way."),
    )
    time_step = Quantity(
        "time", "positive", metadata=said("Step to which stated settling times are read.")
    )
    display_interval = Quantity(
        "temperature_difference",
        "positive",
        metadata=said("Step of the temperature that the analyser displays."),
    )
    place = Text(metadata=said("Where the probe was: above the pan, at its rim, …"))
