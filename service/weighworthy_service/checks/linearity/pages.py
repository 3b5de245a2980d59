"""What reports call the things of a linearity check."""

from typing import Final

from weighworthy_service.checks.pages import HEAT, WEIGHTS, Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "point_error": marked("Largest error of indication"),
        "terminal_nonlinearity": marked("Departure from the line through zero and highest load"),
        "zero_based_nonlinearity": marked("Departure from the best line through zero"),
        "independent_nonlinearity": marked("Departure from the best free line"),
        "least_squares_nonlinearity": marked("Departure from the least-squares line"),
        "hysteresis": marked("Hysteresis"),
    },
    # A series has the errors of one load, not the largest of many.
    series={"point_error": marked("Error of indication")},
    fields={"direction": marked("Direction")},
    first=("direction",),
    values={"up": marked("up"), "down": marked("down")},
    found=(Figure("error", marked("Error"), "g"),),
    blind=(
        marked("What lies between the loads that were put on, and above the highest of them."),
        HEAT,
        marked("The scatter of the balance: readings of each load are too few to tell it."),
        WEIGHTS,
    ),
)
