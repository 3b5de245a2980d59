"""What reports call the things of a blank run; what it cannot see, its answers say."""

from typing import Final

from weighworthy_service.checks.pages import Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "zero_change": marked("Change of zero through a run"),
        "moisture_effect": marked("What it reads as moisture"),
    },
    fields={
        "pan": marked("Pan"),
        "on_pan": marked("On the pan"),
        "sample_mass": marked("Usual sample"),
        "usual_duration": marked("Usual drying"),
        "initial": marked("Start"),
        "final": marked("End"),
        "duration": marked("Duration"),
    },
    values={"empty": marked("empty"), "inert": marked("inert load")},
    first=("pan", "on_pan", "sample_mass", "usual_duration"),
    found=(
        Figure("change", marked("Change"), "g"),
        Figure("moisture_effect", marked("As moisture"), "%"),
    ),
    results=(Figure("standard_deviation", marked("Standard deviation between runs"), "g"),),
    place=marked("run {number}"),
    cautions=(
        marked("What lies on an inert pan must stand the heat, and must have been dry before."),
    ),
)
