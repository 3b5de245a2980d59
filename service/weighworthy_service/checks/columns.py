"""By which words a first draft of a table mapping finds columns: the part `columns` of a kind.

A kind may have a module `columns.py` in its folder with

    COLUMNS: Final = Columns(named="…", hints="…", guesses=(Guess("rounds.zero", "zero", NUMBER),))

Without it a column may feed a field if its title has the words of the field's name, and titles or
texts speak of the kind if they have the words of its own.
"""

from dataclasses import dataclass
from typing import Final, Literal

Sort = Literal["empty", "number", "time", "flag", "choice", "text"]

NUMBER: Final[tuple[Sort, ...]] = ("number",)
NAME: Final[tuple[Sort, ...]] = ("text", "choice", "number")
ONE_OF: Final[tuple[Sort, ...]] = ("text", "choice")
FLAG: Final[tuple[Sort, ...]] = ("flag", "choice")


@dataclass(frozen=True, slots=True)
class Guess:
    """Words that make a column look like a field, and what its cells must look like.

    `words` are a regular expression for the begin of a word, in lower case. `early`: tried before
    the fields of every check that could take the column, such as the air temperature.
    """

    field: str
    words: str
    sorts: tuple[Sort, ...]
    early: bool = False


@dataclass(frozen=True, slots=True)
class Columns:
    """The words of one kind, all as regular expressions in lower case.

    Attributes:
        guesses: for its fields, in the order in which they are tried; a column feeds the first that
            is free.
        named: what names the kind in a cell that tells the kind of check.
        hints: what in titles of columns speaks for the kind; the most hits win.
    """

    guesses: tuple[Guess, ...] = ()
    named: str = ""
    hints: str = ""


# What readings are called everywhere, by the last part of a field's name.
_READING: Final = "indication|reading|display|shown|result|anzeige|messwert|lecture"
_USUAL: Final[dict[str, tuple[str, tuple[Sort, ...]]]] = {
    "load": ("load|weight|nominal|last|gewicht|charge", NAME),
    "zero": ("zero|null|z[eé]ro", NUMBER),
    "indication": (_READING, NUMBER),
    "stable": ("stable|stabil", FLAG),
}


def usual(field: str) -> Guess | None:
    """The guess for a reading as nearly every kind has it; None: the field is none of these."""
    found = _USUAL.get(field.rpartition(".")[2])
    return None if found is None else Guess(field, *found)


def all_usual(*fields: str) -> tuple[Guess, ...]:
    """The same for fields of which each is one of these."""
    return tuple(guess for field in fields if (guess := usual(field)) is not None)
