"""By which words columns of checks with a reference material are found."""

from typing import Final

from weighworthy_service.checks.columns import NAME, NUMBER, Columns, Guess, all_usual

COLUMNS: Final = Columns(
    guesses=(
        Guess("material.stated_loss", "stated|certified|nominal|soll|sollwert|certifi", NUMBER),
        Guess("material.expanded_uncertainty", "u\\b|uncertainty|unsicherheit|incertitude", NUMBER),
        Guess(
            "runs.displayed_loss",
            ".*(loss|moisture|found|feuchte|verlust|perte|humidité)",
            NUMBER,
            early=True,
        ),
        Guess("runs.initial_mass", "start|initial|before|first|einwaage|anfang", NUMBER),
        Guess("runs.final_mass", "end|final|after|last|dry|r[uü]ckwaage|auswaage", NUMBER),
        *all_usual("runs.stable"),
        Guess("material.lot", "lot|batch|charge", NAME),
        Guess("material.name", "material|substance|referenz|standard", NAME),
        Guess("material.certificate", "certificate|zertifikat|certificat", NAME),
    ),
    named="reference|material|tartrate|referenz|substanz",
    hints="reference|material|tartrate|referenz|certified|stated|lot",
)
