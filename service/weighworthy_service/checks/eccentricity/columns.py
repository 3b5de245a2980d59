"""By which words columns of eccentricity checks are found."""

from typing import Final

from weighworthy_service.checks.columns import NAME, Columns, Guess, all_usual

COLUMNS: Final = Columns(
    guesses=(
        Guess("placings.position", "position|place|corner|ecke|platz|lage", NAME),
        *all_usual("load", "placings.zero", "placings.indication", "placings.stable"),
    ),
    named="eccentr|off.cent|corner|exzentr|ecklast|au(ß|ss)ermitt",
    hints="eccentr|position|corner|cent(re|er)|ecke|exzentr|mitte",
)
