"""Which columns of a table feed which fields in the draft of a mapping, and what is doubtful."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.tables.draft_numbers import Numbers, numbers_of
from weighworthy_service.tables.draft_text import key_text, quoted
from weighworthy_service.tables.draft_times import Entry, is_time, moment_of
from weighworthy_service.tables.looks import Look
from weighworthy_service.tables.request_fields import find_field
from weighworthy_service.tables.words import POINT, RUN, SUMMARY, fits, guesses
from weighworthy_service.wire.containers import ListOf
from weighworthy_service.wire.fields import Flag, OneOf, Quantity

_MISSING: Final = re.compile(r"[-–—_./* ]+|n/?a|n\.a\.|none", re.IGNORECASE)
_SEPARATORS: Final = ("+", ";", "/", "|", "&", ",")
_EXAMPLES: Final = 3


@dataclass(frozen=True, slots=True)
class Drafted:
    """The columns of a draft.

    `numbers` tells how numbers are written; `missing` texts that may stand for empty cells; `rest`
    the columns that feed nothing.
    """

    entries: tuple[Entry, ...]
    rest: tuple[Look, ...]
    numbers: Numbers
    missing: tuple[str, ...]
    local_times: bool
    instruments: tuple[str, ...]


def drafted(columns: Sequence[Look], slugs: Sequence[str]) -> Drafted:
    """The guesses for one or more kinds of check."""
    used: dict[str, Look] = {}
    entries: list[Entry] = []
    times = [look for look in columns if is_time(look)]
    for slug in slugs:
        guessed = _guessed([look for look in columns if look not in times], slug)
        entries += [
            _entry(BY_SLUG[slug], field, look)
            for field, look in guessed.items()
            if field not in used
        ]
        used = guessed | used
    moment, taken, local = moment_of(times)
    entries = [*moment, *entries]
    numbers = [look for look in used.values() if look.sort == "number"]
    feeding = [*used.values(), *taken]
    instruments = used["instrument"].texts if "instrument" in used else ()
    instruments = tuple(text for text in instruments if not SUMMARY.fullmatch(text))
    return Drafted(
        entries=tuple(entries),
        rest=tuple(look for look in columns if look not in feeding),
        numbers=numbers_of(numbers),
        missing=tuple(
            dict.fromkeys(text for look in numbers for text in look.odd if _MISSING.fullmatch(text))
        ),
        local_times=local,
        instruments=instruments,
    )


def _guessed(columns: Sequence[Look], slug: str) -> dict[str, Look]:
    used: dict[str, Look] = {}
    for look in columns:
        for guess in guesses(BY_SLUG[slug]):
            if guess.field not in used and fits(guess, look):
                used[guess.field] = look
                break
    return used


def gathered(made: Drafted) -> tuple[list[str], str | None]:
    """Columns that may tell which rows belong together, and in which order."""
    by = [look.name for look in made.rest if RUN.search(look.title) and look.sort != "empty"]
    order = next(
        (
            look.name
            for look in made.rest
            if _counts(look) and POINT.search(look.title) and look.name not in by
        ),
        None,
    )
    return by, order


def _counts(look: Look) -> bool:
    """Whether a column may number the rows of a check: whole numbers without a unit."""
    whole = all(re.fullmatch(r"[0-9]{1,6}", text) for text in look.texts if text not in look.odd)
    return look.sort == "number" and look.unit is None and whole


def _entry(kind: Kind, field: str, look: Look) -> Entry:
    form = find_field(kind, field).form
    parts = {"column": quoted(look.name)}
    doubts: list[str] = []
    if isinstance(form, Quantity):
        doubts += _quantity(form, look, parts)
    elif isinstance(form, ListOf) and isinstance(form.inner, Quantity):
        doubts += _quantity(form.inner, look, parts)
        doubts.append("one value of the list; several stand in `columns`, or in parts of a cell")
    elif isinstance(form, ListOf):
        separator = next((s for s in _SEPARATORS if any(s in text for text in look.texts)), None)
        if separator is not None:
            parts["separator"] = quoted(separator)
        doubts.append("the texts must be names of weights; `values` can say what each means")
    elif isinstance(form, Flag | OneOf) and look.sort != "flag":
        doubts.append("say in `values` what the texts mean")
    elif isinstance(form, Flag):
        told = ", ".join(f"{key_text(text)} = {_is_yes(text)}" for text in look.texts)
        parts["values"] = f"{{ {told} }}"
    named = isinstance(form, ListOf) and not isinstance(form.inner, Quantity)
    if named or isinstance(form, Flag | OneOf):
        doubts[-1:] = [f"{said}: {_some(look.texts)}" for said in doubts[-1:]]
    if look.trouble:
        doubts.append(f"{look.trouble} cells hold an error or a formula without its result")
    value = parts["column"]
    if len(parts) > 1:
        value = f"{{ {', '.join(f'{name} = {text}' for name, text in parts.items())} }}"
    return Entry(field, f"{key_text(field)} = {value}", tuple((look, said) for said in doubts))


def _quantity(form: Quantity, look: Look, parts: dict[str, str]) -> Iterator[str]:
    numbers = [text for text in look.texts if text not in look.odd]
    if look.unit is None and not any(re.search(r"[^0-9.,\s]$", text) for text in numbers):
        parts["unit"] = quoted("?")
        tells = (
            f"{look.other_unit!r} is no unit that is taken" if look.other_unit else "none stands"
        )
        yield f"the unit of {look.title!r} is not known ({tells} in the header): state it"
    if look.decimals is not None:
        parts["decimals"] = str(look.decimals)
        yield "a workbook drops zeros at the end; state the `decimals` that the balance shows"
    if form.dimension == "share" and look.shares is None:
        yield "some cells are formatted as percentages and some are not"
    if look.odd:
        yield f"texts that are no numbers: {_some(look.odd)}"


def _some(texts: Sequence[str]) -> str:
    more = ", …" if len(texts) > _EXAMPLES else ""
    return ", ".join(repr(text[:40]) for text in texts[:_EXAMPLES]) + more


def _is_yes(text: str) -> str:
    return "true" if text[:1].casefold() in ("y", "t", "j", "o") else "false"
