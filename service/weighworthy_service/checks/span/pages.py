"""What reports call the things of a span check."""

from typing import Final

from weighworthy_service.checks.pages import HEAT, WEIGHTS, Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "span_error": marked("Error of indication"),
        "zero_return": marked("Return to zero"),
        "span_agreement": marked("Agreement of rounds"),
    },
    fields={"zero_after": marked("Zero after")},
    found=(Figure("error", marked("Error"), "g"),),
    blind=(
        marked(
            "Other loads: one load says nothing of the errors between zero and it, or above it."
        ),
        HEAT,
        marked("The scatter of the balance: few rounds are no test of repeatability."),
        WEIGHTS,
    ),
)
