"""Which columns of a table hold the time of the check, in the draft of a mapping."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from weighworthy_service.tables.draft_text import listed_text, quoted
from weighworthy_service.tables.formats import ISO, compiled
from weighworthy_service.tables.looks import Look
from weighworthy_service.tables.words import MOMENT, fits

# Serial numbers of the days from 1954 to 2119.
_SERIALS: Final = re.compile(r"[2-7][0-9]{4}([.,][0-9]+)?")


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of `[columns]`: the field, its TOML, and doubts with the column they are about."""

    field: str
    toml: str
    doubts: tuple[tuple[Look, str], ...] = ()


def is_time(look: Look) -> bool:
    """Whether a column may hold dates or times of day."""
    titled = fits(MOMENT, look)
    serial = look.sort == "number" and all(map(_SERIALS.fullmatch, look.texts))
    return look.sort == "time" or (titled and serial and look.unit is None)


def moment_of(times: Sequence[Look]) -> tuple[list[Entry], list[Look], bool]:
    """The line for the time of the check, the columns it takes, and whether it needs a zone."""
    both = next((look for look in times if _holds(look) == (True, True)), None)
    date = next((look for look in times if _holds(look) == (True, False)), None)
    clock = next((look for look in times if _holds(look) == (False, True)), None)
    if both is not None:
        format_, doubts = _format(both)
        value = quoted(both.name)
        if format_:
            value = f"{{ column = {value}, format = {quoted(format_)} }}"
        others = tuple(look.name for look in times if look is not both)
        if others:
            doubts.append((both, f"other columns hold times, too: {listed_text(others)}"))
        taken = [both]
    elif date is not None and clock is not None:
        (first, doubts), (second, more) = _format(date), _format(clock)
        doubts += more
        value = f"{{ columns = {listed_text([date.name, clock.name])}"
        if first or second:
            whole = f"{first or '%Y-%m-%d'} {second or '%H:%M'}"
            value += f", format = {quoted(whole)}"
        value += " }"
        taken = [date, clock]
    elif date is not None:
        said = "the column holds dates without a time of day, and a time needs both"
        return (
            [Entry("performed_at", f"# performed_at = {quoted(date.name)}", ((date, said),))],
            [date],
            False,
        )
    else:
        return [], [], False
    local = not any(re.search(r"(Z|[+-][0-9]{2}:?[0-9]{2})$", text) for text in taken[0].texts)
    return [Entry("performed_at", f"performed_at = {value}", tuple(doubts))], taken, local


def _holds(look: Look) -> tuple[bool, bool]:
    """Whether the column holds dates, and times of day."""
    if look.sort == "number":
        return True, True
    format_ = look.formats[0] if look.formats else ISO
    if format_ != ISO:
        return "%d" in format_, "%M" in format_
    found = compiled(ISO)(look.texts[0]) if look.texts else None
    return found is not None and found.day is not None, found is not None and found.time is not None


def _format(look: Look) -> tuple[str | None, list[tuple[Look, str]]]:
    if look.sort == "number":
        said = f"{look.texts[0]!r} looks like a date as the serial number of a spreadsheet"
        return "excel", [(look, said)]
    if not look.formats or look.formats[0] == ISO:
        return None, []
    others = [text for text in look.formats[1:] if text.replace(", ", " ") != look.formats[0]]
    if not others:
        return look.formats[0], []
    said = f"{look.texts[0]!r} can be read in several ways: {', '.join(look.formats)}"
    return look.formats[0], [(look, said)]
