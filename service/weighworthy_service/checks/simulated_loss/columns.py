"""By which words columns of simulated losses are found."""

from typing import Final

from weighworthy_service.checks.columns import FLAG, NUMBER, ONE_OF, Columns, Guess

COLUMNS: Final = Columns(
    guesses=(
        Guess(
            "displayed_loss",
            ".*(loss|moisture|feuchte|verlust|perte|humidité)",
            NUMBER,
            early=True,
        ),
        Guess("initial.indication", "start|initial|before|first|gross|einwaage|anfang", NUMBER),
        Guess("final.indication", "end|final|after|last|dry|r[uü]ckwaage|auswaage", NUMBER),
        Guess("initial.load", "start|initial|on\\b|load", ONE_OF),
        Guess("final.load", "end|final|left|remain", ONE_OF),
        Guess("heating", "heat|hot|heiz", FLAG),
    ),
    named="loss|moisture|feuchte|verlust|perte|humidit",
    hints="loss|moisture|feuchte|verlust|start|initial|einwaage",
)
