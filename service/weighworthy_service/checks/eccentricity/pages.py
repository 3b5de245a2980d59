"""What reports call the things of an eccentricity check."""

from typing import Final

from weighworthy_service.checks.pages import Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "eccentricity": marked("Largest difference to the centre"),
        "position_error": marked("Largest error of indication"),
    },
    fields={"position": marked("Position"), "placings": marked("Placings")},
    first=("position",),
    found=(
        Figure("difference", marked("Difference to the centre"), "g"),
        Figure("error", marked("Error"), "g"),
    ),
    cautions=(
        marked(
            "On the small pan of a moisture analyser the weights must not touch the chamber: take "
            "ones that stand safely off its centre, with pan and chamber cold."
        ),
    ),
)
