"""Formats of dates and times, compiled once into something that reads a text.

`strptime` takes more than its format says and reads the names of months by the locale of the
process; here a format means the same on every machine, and costs a tenth.
"""

import re
from collections.abc import Callable
from datetime import date, time
from typing import Final, NamedTuple

_MONTHS: Final = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_SHORT: Final = [name[:3] for name in _MONTHS]
_OFFSET: Final = r"Z|[+-](?:[01][0-9]|2[0-3]):?[0-5][0-9]"

# Directive -> the group that it fills, and what it takes. Those of strptime, as far as tables of
# readings need them; the names of months are English.
DIRECTIVES: Final[dict[str, tuple[str, str]]] = {
    "%d": ("day", "[0-9]{1,2}"),
    "%m": ("month", "[0-9]{1,2}"),
    "%b": ("month_name", "|".join(_SHORT)),
    "%B": ("month_name", "|".join(_MONTHS)),
    "%Y": ("year", "[0-9]{4}"),
    "%y": ("short_year", "[0-9]{2}"),
    "%H": ("hour", "[0-9]{1,2}"),
    "%I": ("half_day_hour", "[0-9]{1,2}"),
    "%p": ("half", "am|pm|a.m.|p.m."),
    "%M": ("minute", "[0-9]{2}"),
    "%S": ("second", "[0-9]{2}"),
    "%f": ("fraction", "[0-9]{1,9}"),
    "%z": ("offset", _OFFSET),
}
# In place of a format: a cell holds the serial number of a spreadsheet program.
EXCEL_EPOCHS: Final = {"excel": date(1899, 12, 30), "excel-1904": date(1904, 1, 1)}
ISO: Final = "iso"

_PIECE: Final = re.compile(r"%.?|\s+|[^%\s]+")
_DATE_GROUPS: Final = {"day", "month", "month_name", "year", "short_year"}
_ISO_TIME: Final = (
    r"(?P<hour>[0-9]{2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:[.,](?P<fraction>[0-9]{1,9}))?)?"
    rf"\s?(?P<offset>{_OFFSET})?"
)
_ISO_PATTERNS: Final = (
    rf"(?P<year>[0-9]{{4}})-(?P<month>[0-9]{{2}})-(?P<day>[0-9]{{2}})(?:[Tt\s]{_ISO_TIME})?",
    _ISO_TIME,
)


class Moment(NamedTuple):
    """What a cell says of a moment; each part None where it says nothing of it.

    `time` is written out to the second or finer, `offset` like `+01:00` or `Z`.
    """

    day: date | None = None
    time: str | None = None
    offset: str | None = None


Reader = Callable[[str], Moment | None]


def compiled(text: str) -> Reader:
    """A reader by the format: None where a text does not have its shape, and a ValueError where it
    has but there is no such day or time.

    Raises:
        ValueError: the format holds an unknown directive, or one twice, or only half a date.
    """
    patterns = _ISO_PATTERNS if text == ISO else (_pattern(text),)
    matches = [re.compile(pattern, re.IGNORECASE).fullmatch for pattern in patterns]

    def read(cell: str) -> Moment | None:
        for match in matches:
            found = match(cell)
            if found is not None:
                return _moment({name: got for name, got in found.groupdict().items() if got})
        return None

    return read


def date_and_time(text: str) -> tuple[str, str]:
    """A format in its parts for two columns, cut at the blank before the hour; the names of serial
    numbers are for both.

    Raises:
        ValueError: there is no such blank.
    """
    if text in EXCEL_EPOCHS:
        return text, text
    cut = re.fullmatch(r"(.*\S)\s+([^%]*%[HI].*)", text)
    if cut is None:
        raise ValueError(
            f"{text!r} is for a date and a time in two columns; write both, with a blank between, "
            'like "%d.%m.%Y %H:%M"'
        )
    return cut[1], cut[2]


def _pattern(text: str) -> str:
    pieces = _PIECE.findall(text)
    groups: set[str] = set()
    parts = []
    for position, piece in enumerate(pieces):
        if piece == "%%":
            parts.append("%")
        elif piece.startswith("%"):
            if piece not in DIRECTIVES:
                raise ValueError(f"{piece!r} is no directive; known are {' '.join(DIRECTIVES)}")
            name, taken = DIRECTIVES[piece]
            if name in groups:
                raise ValueError(f"{piece!r} says again what the format has already")
            groups.add(name)
            beside = pieces[max(0, position - 1) : position] + pieces[position + 1 : position + 2]
            if any(other in DIRECTIVES for other in beside):
                # Digits without anything between can be told apart by their number alone.
                taken = taken.replace("{1,2}", "{2}")
            parts.append(f"(?P<{name}>{taken.replace('.m.', '[.]m[.]')})")
        else:
            parts.append(r"\s+" if piece.isspace() else re.escape(piece))
    _check_whole(text, groups)
    return "".join(parts)


def _check_whole(text: str, groups: set[str]) -> None:
    dated = groups & _DATE_GROUPS
    years, months = groups & {"year", "short_year"}, groups & {"month", "month_name"}
    if dated and not (len(years) == 1 and len(months) == 1 and "day" in groups):
        raise ValueError(f"{text!r} needs a day, one month and one year")
    hours = groups & {"hour", "half_day_hour"}
    if len(hours) > 1 or ("half_day_hour" in hours) != ("half" in groups):
        raise ValueError(f"{text!r} needs %H alone, or %I with %p")
    if bool(hours) != ("minute" in groups) or ("second" in groups and not hours):
        raise ValueError(f"{text!r} needs hours with minutes")
    if "fraction" in groups and "second" not in groups:
        raise ValueError(f"{text!r} has fractions of a second without the second")
    if not dated and not hours:
        raise ValueError(f"{text!r} holds neither a date nor a time")


def _moment(found: dict[str, str]) -> Moment:
    """Raises: ValueError, there is no such day or time."""
    day = None
    if "day" in found:
        day = date(_year(found), _month(found), int(found["day"]))
    clock = None
    if "minute" in found:
        second, fraction = int(found.get("second", "0")), found.get("fraction")
        exact = time(_hour(found), int(found["minute"]), second).isoformat()
        clock = f"{exact}.{fraction}" if fraction else exact
    offset = found.get("offset")
    if offset and offset.upper() == "Z":
        offset = "Z"
    elif offset:
        offset = f"{offset[:3]}:{offset[-2:]}"
    return Moment(day, clock, offset)


def _year(found: dict[str, str]) -> int:
    if "year" in found:
        return int(found["year"])
    short = int(found["short_year"])
    return short + (1900 if short >= 69 else 2000)  # the choice of POSIX for %y


def _month(found: dict[str, str]) -> int:
    if "month" in found:
        return int(found["month"])
    return _SHORT.index(found["month_name"][:3].lower()) + 1


def _hour(found: dict[str, str]) -> int:
    if "hour" in found:
        return int(found["hour"])
    hour = int(found["half_day_hour"])
    if not 1 <= hour <= 12:
        raise ValueError("there is no such hour of half a day")
    return hour % 12 + (12 if found["half"][0] in "pP" else 0)
