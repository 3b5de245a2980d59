"""What reports call the things of a heater check; what it cannot see, its answers say."""

from typing import Final

from weighworthy_service.checks.pages import Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "temperature_error": marked("Error of temperature"),
        "settling_time": marked("Settling time"),
        "temperature_spread": marked("Temperature spread"),
        "display_error": marked("Error of the display"),
    },
    fields={
        "probe": marked("Probe"),
        "certificate": marked("Certificate"),
        "interval": marked("Step of the display"),
        "corrections": marked("Corrections"),
        "at": marked("At reading"),
        "correction": marked("Correction"),
        "expanded_uncertainty": marked("Expanded uncertainty"),
        "coverage_factor": marked("Coverage factor"),
        "drift": marked("Drift between calibrations"),
        "immersion_allowance": marked("Bound for heat along the probe"),
        "calibrated_on": marked("Calibrated"),
        "due_on": marked("Due"),
        "set_points": marked("Set points"),
        "set": marked("Set temperature"),
        "readings": marked("Readings"),
        "displayed": marked("Displayed"),
        "settled_after": marked("Settled after"),
        "settled_within": marked("Settled means within"),
        "time_step": marked("Step of stated times"),
        "display_interval": marked("Step of the displayed temperature"),
        "place": marked("Place of the probe"),
    },
    found=(
        Figure("error", marked("Error of temperature"), "K"),
        Figure("settling_time", marked("Settling time"), "s"),
    ),
    place=marked("set point {number}"),
    cautions=(
        marked(
            "The probe is hot, and so are lid and chamber: lead its cable clear of the heater, "
            "never bypass the interlock of the lid, let all cool before the probe is taken out."
        ),
    ),
)
