"""By which words columns of blank runs are found."""

from typing import Final

from weighworthy_service.checks.columns import NAME, NUMBER, Columns, Guess, all_usual

COLUMNS: Final = Columns(
    guesses=(
        Guess("sample_mass", "sample|usual|probe(nmasse|nmenge)?\\b|[eé]chantillon", NUMBER),
        Guess("runs.chamber_temperature", "chamber|oven|heat|trock|kammer", NUMBER, early=True),
        Guess("runs.duration", "duration|length|minutes|dauer|dur[eé]e", NUMBER, early=True),
        Guess("runs.initial", "start|initial|before|first|anfang|d[eé]but", NUMBER),
        Guess("runs.final", "end|final|after|last|ende|fin\\b", NUMBER),
        *all_usual("runs.stable"),
        Guess("on_pan", "on.*pan|content|beads|inhalt|schale", NAME),
    ),
    named="blank|empty|inert|leer|blind|blanc",
    hints="blank|empty|inert|leerlauf|blindlauf|blanc",
)
