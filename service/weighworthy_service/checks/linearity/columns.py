"""By which words columns of linearity checks are found."""

from typing import Final

from weighworthy_service.checks.columns import ONE_OF, Columns, Guess, all_usual

COLUMNS: Final = Columns(
    guesses=(
        Guess("points.direction", "direction|up|richtung", ONE_OF),
        *all_usual("points.load", "points.zero", "points.indication", "points.stable"),
    ),
    named="linear",
    hints="point|linear|direction|punkt",
)
