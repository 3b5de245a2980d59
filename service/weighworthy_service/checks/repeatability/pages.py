"""What reports call the things of a repeatability check."""

from typing import Final

from weighworthy_service.checks.pages import Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "standard_deviation": marked("Standard deviation"),
        "range": marked("Range"),
        "smallest_net_mass": marked("Smallest net mass"),
    },
    fields={"placings": marked("Placings")},
    found=(Figure("deviation", marked("Deviation from the mean"), "g"),),
)
