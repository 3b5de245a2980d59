"""By which words columns of heater checks are found."""

from typing import Final

from weighworthy_service.checks.columns import FLAG, NAME, NUMBER, Columns, Guess

COLUMNS: Final = Columns(
    guesses=(
        Guess("set_points.set", "set|soll|target|consigne", NUMBER, early=True),
        Guess("set_points.settled_after", "settl|einlauf|aufheiz", NUMBER, early=True),
        Guess("set_points.displayed", "display|shown|anzeige|affich", NUMBER, early=True),
        Guess("set_points.readings", "probe|sensor|f[uü]hler|reading|sonde", NUMBER, early=True),
        Guess("set_points.stable", "stable|stabil", FLAG),
        Guess("probe.id", "thermometer|probe id", NAME),
        Guess("place", "place|position|ort", NAME),
    ),
    named="heat|heiz|temperature check|chauff",
    hints="set.?point|set temp|soll|probe|f[uü]hler|heat|heiz|sensor",
)
