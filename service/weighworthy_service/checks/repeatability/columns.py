"""By which words columns of repeatability checks are found."""

from typing import Final

from weighworthy_service.checks.columns import Columns, all_usual

COLUMNS: Final = Columns(
    guesses=all_usual("load", "placings.zero", "placings.indication", "placings.stable"),
    named="repeat|wiederhol|streu",
    hints="repeat|placing|wiederhol|auflage|streu",
)
