"""What reports call the things of a simulated loss; what it cannot see, its answers say."""

from typing import Final

from weighworthy_service.checks.pages import Figure, Pages, marked

PAGES: Final = Pages(
    criteria={"loss_error": marked("Error of the loss")},
    fields={
        "heating": marked("Chamber heated"),
        "basis": marked("Loss as a share"),
        "displayed_loss": marked("Displayed loss"),
        "chamber_temperature": marked("Chamber"),
    },
    values={
        "wet": marked("of the initial load"),
        "dry": marked("of the final load"),
        "initial": marked("at the start"),
        "final": marked("at the end"),
    },
    first=("heating", "basis", "displayed_loss"),
    results=(
        Figure("loss", marked("Loss found"), "%"),
        Figure("expected_loss", marked("Loss expected"), "%"),
        Figure("displayed_loss", marked("Loss displayed"), "%"),
        Figure("loss_from_masses", marked("Loss from the indications"), "%"),
    ),
    cautions=(
        marked("A wrong span cancels in a loss: a pass here does not stand for a span check."),
    ),
)
