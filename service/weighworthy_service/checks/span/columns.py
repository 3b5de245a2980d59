"""By which words columns of span checks are found."""

from typing import Final

from weighworthy_service.checks.columns import NUMBER, ONE_OF, Columns, Guess, all_usual

COLUMNS: Final = Columns(
    guesses=(
        Guess("rounds.stage", "stage|state|found|left|phase|zustand", ONE_OF),
        *all_usual("rounds.load"),
        Guess("rounds.zero_after", "zero.*(after|2)|null.*(nach|2)", NUMBER),
        *all_usual("rounds.zero", "rounds.indication", "rounds.stable"),
    ),
    named="span|sensitiv|calibrat|kalibrier|justier|adjust",
    hints="as.found|as.left|stage|zero.*after|span|round|justier",
)
