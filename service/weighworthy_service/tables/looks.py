"""What the cells of a column look like, for a person who writes the first mapping of a table."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

from weighworthy_service.checks.columns import Sort
from weighworthy_service.tables.cells import (
    Cell,
    ErrorCell,
    NumberCell,
    Row,
    TimeCell,
    UncachedCell,
    is_empty,
    shown,
)
from weighworthy_service.tables.decimal_mark import vote
from weighworthy_service.tables.formats import ISO, Reader, compiled
from weighworthy_service.tables.header import unit_in_header, unit_like
from weighworthy_service.tables.mapping_form import LONGEST_NAME
from weighworthy_service.tables.number_formats import shows

_DATES: Final = (
    "%d.%m.%Y",
    "%d.%m.%y",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d/%m/%y",
    "%m/%d/%y",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%d %b %Y",
    "%d-%b-%Y",
    "%d %B %Y",
    "%b %d, %Y",
    "%B %d, %Y",
)
_TIMES: Final = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p")
_FORMATS: Final = (
    ISO,
    *_DATES,
    *_TIMES,
    *(f"{date}{between}{time}" for date in _DATES for between in (" ", ", ") for time in _TIMES),
)
_NUMBER: Final = re.compile("[-−+]?[0-9][0-9., \u00a0\u202f\u2009'’]*([^\\s0-9.,'’][^0-9]{0,11})?")
_FLAGS: Final = ({"yes", "no"}, {"y", "n"}, {"true", "false"}, {"ja", "nein"}, {"oui", "non"})
# Of a column that may be long: enough to see what it holds, not to count it.
_TEXTS: Final = 200
_MOST_CHOICES: Final = 12
_MIDNIGHT: Final = "T00:00:00"
# A column with more other texts than this share of its cells is none of numbers.
_ODD_SHARE: Final = 0.2


@dataclass(frozen=True, slots=True)
class Look:
    """A column as its cells look.

    Attributes:
        name: by which a mapping can address it.
        title: its text in the header row.
        unit: in the header, if it is a known one.
        other_unit: what stands in the place of a unit there, but is none that is known.
        sort: what most cells are.
        texts: different texts, in the order they first came, a few hundred at most.
        odd: of a column of numbers the texts that are none.
        marks: decimal marks that its numbers must have (`.`, `,`), or `either`.
        formats: formats of dates and times that all its texts fit.
        decimals: of the numbers of a workbook, the most that one shows.
        shares: whether numbers of a workbook are shown as percentages; None: some are.
        trouble: cells that hold an error or a formula without result.
    """

    name: str
    title: str
    unit: str | None
    other_unit: str | None
    sort: Sort
    texts: tuple[str, ...] = ()
    odd: tuple[str, ...] = ()
    marks: frozenset[str] = frozenset()
    formats: tuple[str, ...] = ()
    decimals: int | None = None
    shares: bool | None = False
    trouble: int = 0


def looks(header: Sequence[str], rows: Sequence[Row]) -> list[Look]:
    """How the columns of a table look, from its first rows."""
    found = []
    for place, title in enumerate(header):
        usual = 0 < len(title) <= LONGEST_NAME and header.count(title) == 1
        name = title if usual else f"#{place + 1}"
        # A title is searched for words: one of megabytes must not cost the square of its length.
        found.append(_look(name, title[:LONGEST_NAME], [row[2][place] for row in rows]))
    return found


def _look(name: str, title: str, cells: Sequence[Cell]) -> Look:
    unit = unit_in_header(title)
    filled = [cell for cell in cells if not is_empty(cell)]
    plain = [cell for cell in filled if not isinstance(cell, ErrorCell | UncachedCell)]
    texts = tuple(dict.fromkeys(shown(cell).strip() for cell in plain))[:_TEXTS]
    if all(isinstance(cell, TimeCell) and cell.text.endswith(_MIDNIGHT) for cell in plain):
        # So a workbook keeps a date without a time of day.
        texts = tuple(text.removesuffix(_MIDNIGHT) for text in texts)
    numbers = [cell for cell in plain if isinstance(cell, NumberCell)]
    unit = unit or _shown_unit(numbers)
    look = Look(
        name=name,
        title=title,
        unit=unit,
        other_unit=unit_like(title) if unit is None else None,
        sort="empty",
        texts=texts,
        formats=() if numbers else _formats(texts),
        trouble=len(filled) - len(plain),
    )
    odd = tuple(text for text in texts if not _NUMBER.fullmatch(text))
    if not plain:
        return look
    if all(isinstance(cell, bool) for cell in plain) or {t.casefold() for t in texts} in _FLAGS:
        return replace(look, sort="flag")
    if look.formats or any(isinstance(cell, TimeCell) for cell in plain):
        return replace(look, sort="time")
    others = sum(not _NUMBER.fullmatch(shown(cell).strip()) for cell in plain)
    if others <= _ODD_SHARE * len(plain) or len(numbers) > len(plain) / 2:
        return replace(
            look,
            sort="number",
            odd=odd,
            marks=_marks(cell for cell in plain if isinstance(cell, str)),
            decimals=max((_decimals(cell) for cell in numbers), default=None),
            shares=_shares(numbers),
        )
    few = len(texts) <= _MOST_CHOICES and len(plain) >= 2 * len(texts)
    return replace(look, sort="choice" if few else "text")


def _formats(texts: Sequence[str]) -> tuple[str, ...]:
    """Formats that every text fits, so that all that can be meant are told."""
    return tuple(text for text, read in _readers() if texts and _fits(read, texts))


@cache
def _readers() -> tuple[tuple[str, Reader], ...]:
    return tuple((text, compiled(text)) for text in _FORMATS)


def _fits(read: Reader, cells: Sequence[str]) -> bool:
    try:
        return all(read(cell) is not None for cell in cells)
    except ValueError:
        return False


def _marks(texts: Iterable[str]) -> frozenset[str]:
    found = frozenset(mark for mark in (vote(text, None) for text in texts) if mark is not None)
    return found - {"either"} or found


def _decimals(cell: NumberCell) -> int:
    """As the cell is shown, or as it is stored where its format does not say."""
    stated = re.search(r"0[.,](0+)", cell.format)
    if stated is not None:
        return len(stated[1])
    digits = re.fullmatch(r"-?[0-9]+\.([0-9]{1,9})", cell.text)
    return len(digits[1]) if digits is not None else 0


def _shown_unit(numbers: Sequence[NumberCell]) -> str | None:
    """The unit that the formats of all numbers show; cells are then read in it without a word."""
    found = {shows(cell.format, 1).unit for cell in numbers}
    return found.pop() if len(found) == 1 else None


def _shares(numbers: Sequence[NumberCell]) -> bool | None:
    found = {"%" in cell.format for cell in numbers}
    return None if len(found) > 1 else True in found
