"""Which field a column may feed, by the words of its title. A first guess, shown as one."""

import re
from dataclasses import dataclass
from typing import Final

from weighworthy_service.tables.looks import Look, Sort


@dataclass(frozen=True, slots=True)
class Guess:
    """Words that make a column look like a field of a kind of check, and what its cells must be."""

    field: str
    words: str
    sorts: tuple[Sort, ...]
    checks: tuple[str, ...] = ("simulated-loss", "linearity", "span")

    def fits(self, look: Look, check: str) -> bool:
        """Whether a column may feed this field."""
        return (
            check in self.checks
            and look.sort in self.sorts
            and re.search(rf"(?<![a-z])({self.words})", look.title.casefold()) is not None
        )


_NUMBER: Final[tuple[Sort, ...]] = ("number",)
_NAME: Final[tuple[Sort, ...]] = ("text", "choice", "number")
_ONE_OF: Final[tuple[Sort, ...]] = ("text", "choice")
_FLAG: Final[tuple[Sort, ...]] = ("flag", "choice")
_LOSS: Final = ("simulated-loss",)
_READING: Final = "indication|reading|display|shown|result|anzeige|messwert|lecture"

# In the order in which they are tried; a column that fits several feeds the first that is free.
GUESSES: Final = (
    Guess("performed_at", "date|datum|time|zeit|uhr|when|performed|heure", ("time", "number")),
    Guess("instrument", "balance|instrument|device|analy[sz]er|waage|ger[aä]t", _NAME),
    Guess("displayed_loss", ".*(loss|moisture|feuchte|verlust|perte|humidité)", _NUMBER, _LOSS),
    Guess("environment.relative_humidity", "humidity|rel|rh|luftfeuchte", _NUMBER),
    Guess("environment.pressure", "pressure|baro|luftdruck", _NUMBER),
    Guess("environment.temperature", "temp|air|room|ambient|raum", _NUMBER),
    Guess("initial.indication", "start|initial|before|first|gross|einwaage|anfang", _NUMBER, _LOSS),
    Guess("final.indication", "end|final|after|last|dry|r[uü]ckwaage|auswaage", _NUMBER, _LOSS),
    Guess("initial.load", "start|initial|on\\b|load", _ONE_OF, _LOSS),
    Guess("final.load", "end|final|left|remain", _ONE_OF, _LOSS),
    Guess("heating", "heat|hot|heiz", _FLAG, _LOSS),
    Guess("points.direction", "direction|up|richtung", _ONE_OF, ("linearity",)),
    Guess("points.load", "load|weight|nominal|last|gewicht|charge", _NAME, ("linearity",)),
    Guess("points.zero", "zero|null|z[eé]ro", _NUMBER, ("linearity",)),
    Guess("points.indication", _READING, _NUMBER, ("linearity",)),
    Guess("points.stable", "stable|stabil", _FLAG, ("linearity",)),
    Guess("rounds.stage", "stage|state|found|left|phase|zustand", _ONE_OF, ("span",)),
    Guess("rounds.load", "load|weight|nominal|last|gewicht|charge", _NAME, ("span",)),
    Guess("rounds.zero_after", "zero.*(after|2)|null.*(nach|2)", _NUMBER, ("span",)),
    Guess("rounds.zero", "zero|null|z[eé]ro", _NUMBER, ("span",)),
    Guess("rounds.indication", _READING, _NUMBER, ("span",)),
    Guess("rounds.stable", "stable|stabil", _FLAG, ("span",)),
    Guess("warm_up", "warm|on for|aufw[aä]rm", _NUMBER),
    Guess("performed_by", "operator|user|by\\b|analyst|who|name|bediener|pr[uü]fer", _ONE_OF),
    Guess("method", "method|program", _NAME),
    Guess("occasion", "occasion|reason|anlass|grund", _ONE_OF),
)
# Titles of columns that tell which rows belong together, and in which order.
RUN: Final = re.compile("run|series|check|test|lauf|serie|pr[uü]fung|essai", re.IGNORECASE)
POINT: Final = re.compile("point|no\\b|nr|num|step|round|punkt|schritt|runde", re.IGNORECASE)
KIND: Final = re.compile("test|check|kind|type|art|pr[uü]fung", re.IGNORECASE)

# What stands in a row that sums up others.
SUMMARY: Final = re.compile(
    r"((arithmetic |grand |sub)?(means?|totals?|averages?)|avg\.?|median|sums?|min(imum)?"
    r"|max(imum)?|s\.?d\.?|r\.?s\.?d\.?( ?%)?|std\.?( ?dev\.?)?|stdev|standard deviation|mw"
    r"|mittel(wert)?|standardabweichung|stabw\.?|summe|gesamt|moyenne|[eé]cart[ -]type|somme)[:.]?",
    re.IGNORECASE,
)
# Texts of a column that name kinds of check.
_NAMED: Final = (
    ("simulated-loss", "loss|moisture|feuchte|verlust|perte|humidit"),
    ("span", "span|sensitiv|calibrat|kalibrier|justier|adjust"),
    ("linearity", "linear"),
)
_HINTS: Final = (
    ("simulated-loss", "loss|moisture|feuchte|verlust|start|initial|einwaage"),
    ("span", "as.found|as.left|stage|zero.*after|span|round|justier"),
    ("linearity", "point|linear|direction|punkt"),
)


def named_kind(text: str) -> str | None:
    """The kind of check that a text names; None: of none, or of several."""
    found = [slug for slug, words in _NAMED if re.search(words, text.casefold())]
    return found[0] if len(found) == 1 else None


def likely_check(titles: str) -> str | None:
    """The kind of check of which the titles speak most; None: of none, or of several alike."""
    hits = {check: len(re.findall(words, titles.casefold())) for check, words in _HINTS}
    best = max(hits.values())
    found = [check for check, count in hits.items() if count == best]
    return found[0] if best and len(found) == 1 else None
