"""What reports call the things of a reference material; what it cannot see, its answers say."""

from typing import Final

from weighworthy_service.checks.pages import Figure, Pages, marked

PAGES: Final = Pages(
    criteria={
        "bias": marked("Mean loss found, less the stated one"),
        "scatter": marked("Standard deviation of single losses"),
    },
    fields={
        "material": marked("Material"),
        "lot": marked("Lot"),
        "stated_loss": marked("Stated loss"),
        "expanded_uncertainty": marked("Expanded uncertainty"),
        "standard_uncertainty": marked("Standard uncertainty"),
        "coverage_factor": marked("Coverage factor"),
        "opened_on": marked("Opened"),
        "due_on": marked("To be used until"),
        "basis": marked("Loss as a share"),
        "spread": marked("Scatter of earlier runs"),
        "initial_mass": marked("Mass before"),
        "final_mass": marked("Mass after"),
        "displayed_loss": marked("Displayed loss"),
    },
    values={"wet": marked("of the initial mass"), "dry": marked("of the final mass")},
    first=("material", "basis", "spread"),
    found=(
        Figure("loss", marked("Loss"), "%"),
        Figure("deviation", marked("Less the stated one"), "%"),
    ),
    results=(
        Figure("mean_loss", marked("Mean loss found"), "%"),
        Figure("stated_loss", marked("Stated loss"), "%"),
        Figure("recovery", marked("Recovery"), "%"),
    ),
    cautions=(
        marked("Follow the safety sheet of the material, also for what leaves it when heated."),
    ),
)
