"""The names of columns: where their row is, which column a name means, and the unit it states."""

import re
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Final

from weighworthy_service.metrology.quantity import UNITS
from weighworthy_service.tables.cells import Cell, Row, TableFault, shown
from weighworthy_service.tables.listed import listed

HEADER_WITHIN: Final = 30
# A longer text is no name, and looking for the like of it would take for ever.
_NAME_LENGTH: Final = 200
_POSITION: Final = re.compile("#([1-9][0-9]{0,4})")
_KNOWN: Final = {unit for units in UNITS.values() for unit in units}
_UNIT: Final = re.compile(
    r".*?(?:\[\s*(?P<square>[^\[\]]*?)\s*\]|\(\s*(?P<round>[^()]*?)\s*\)"
    r"|\s(?:/\s*|in\s+)(?P<bare>[^\s/()\[\]]+)|\s(?P<share>%))\s*",
    re.DOTALL | re.IGNORECASE,
)
_BRACKETS: Final = re.compile(r".*[\[(]\s*([^\[\]()]*?)\s*[\])]\s*", re.DOTALL)


def name_key(text: str) -> str:
    """A column's name for comparison: without case, blanks of any kind and quotes around it."""
    return "".join(text.split()).casefold().strip("\"'“”„‘’")


def position_of(name: str) -> int | None:
    """The index of a column addressed by its place, `#1` being the first; None for any other."""
    found = _POSITION.fullmatch(name)
    return int(found[1]) - 1 if found else None


def unit_in_header(text: str) -> str | None:
    """The unit that ends a column's name: `… [g]`, `… (g)`, `… / g`, `… in g`, `… %`.

    None where there is none, or one outside the table of units: `(net)` is no unit, and `T min`
    speaks of no minutes.
    """
    found = _UNIT.fullmatch(text) if len(text) <= _NAME_LENGTH else None
    unit = found and (found["square"] or found["round"] or found["bare"] or found["share"])
    return unit if unit in _KNOWN else None


def unit_like(text: str) -> str | None:
    """What stands in brackets behind a column's name, whether it is a known unit or not."""
    found = _BRACKETS.fullmatch(text) if len(text) <= _NAME_LENGTH else None
    return found[1] if found else None


def column_letters(place: int) -> str:
    """The column of a workbook, from 1: A, …, Z, AA, …."""
    letters = ""
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def header_texts(cells: Sequence[Cell]) -> tuple[str, ...]:
    """The cells of a header row as texts, without needless blanks; "" for a nameless column."""
    return tuple(" ".join(shown(cell).split()) for cell in cells)


def holds_all(cells: Sequence[Cell], wanted: Sequence[str]) -> bool:
    """Whether a row holds every wanted name; columns addressed by position do not count."""
    keys = _keys(cells)
    return all(name_key(name) in keys for name in wanted if position_of(name) is None)


def _keys(cells: Sequence[Cell]) -> set[str]:
    return {name_key(cell) for cell in cells if isinstance(cell, str)}


def find_header(first_rows: Sequence[Row], wanted: Sequence[str]) -> Row | None:
    """The first row that holds all wanted names."""
    named = [name for name in wanted if position_of(name) is None]
    if not named:
        return None
    return next((row for row in first_rows if holds_all(row[2], named)), None)


def why_no_header(first_rows: Sequence[Row], wanted: Sequence[str]) -> list[TableFault]:
    """What is missing from the row that comes nearest to a header row."""
    named = [name for name in wanted if position_of(name) is None]
    if not named:
        return [
            TableFault(
                "header-not-found",
                "columns are addressed by their places alone: state `header_row` in the mapping, "
                "0 if there is none",
            )
        ]

    wanted_keys = {name_key(name) for name in named}

    def hits(row: Row) -> int:
        return len(wanted_keys & _keys(row[2]))

    best = max(first_rows, key=hits, default=None)
    if best is None or not hits(best):
        return [_none_of(first_rows, named)]
    return missing_columns(best, named)


def _none_of(first_rows: Sequence[Row], named: Sequence[str]) -> TableFault:
    detail = f"none of the first {HEADER_WITHIN} rows holds any of the columns {listed(named)}"
    detail += "; if the header stands below, state `header_row` in the mapping"
    fullest = max(first_rows, key=lambda row: len(_keys(row[2])), default=None)
    if fullest is not None:
        detail += f"; row {fullest[1]} has {listed([t for t in header_texts(fullest[2]) if t])}"
    return TableFault("header-not-found", detail, there=())


def missing_columns(row: Row, wanted: Sequence[str]) -> list[TableFault]:
    """A fault for each wanted name that the row does not hold, with the nearest that it does."""
    sheet, number, cells = row
    there = header_texts(cells)
    present = {name_key(text): text for text in there if text}
    names = [key for key in present if len(key) <= _NAME_LENGTH]
    faults = []
    for name in wanted:
        if position_of(name) is None and name_key(name) not in present:
            near = get_close_matches(name_key(name), names, n=1)
            hint = f"; did you mean {present[near[0]]!r}?" if near else ""
            detail = f"row {number} looks like the header, but has no column {name!r}{hint}"
            faults.append(TableFault("column-missing", detail, sheet, number, name, there=there))
    return faults


def column_places(
    header: Sequence[str], wanted: Sequence[str]
) -> tuple[Mapping[str, int], list[TableFault]]:
    """The index of each wanted column, and a fault for each that is there twice or beyond."""
    places: dict[str, int] = {}
    faults = []
    keys = [name_key(text) for text in header]
    for name in wanted:
        position = position_of(name)
        if position is not None:
            places[name] = position
            if position >= len(header):
                detail = f"there is no column {name}; the table has {len(header)}"
                faults.append(_named("column-missing", detail, name, header))
            continue
        key = name_key(name)
        found = [index for index, other in enumerate(keys) if other == key]
        if len(found) == 1:
            places[name] = found[0]
        elif found:
            listed = " or ".join(f'"#{index + 1}"' for index in found)
            detail = f"the column {name!r} is there {len(found)} times; write {listed}"
            faults.append(_named("column-twice", detail, name, header))
    return places, faults


def _named(code: str, detail: str, name: str, header: Sequence[str]) -> TableFault:
    return TableFault(code, detail, column=name, there=tuple(header))
