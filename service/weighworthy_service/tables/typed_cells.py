"""Rows of typed cells as a client sends them: one `["Sheet", row, [cell, …]]` a line, in JSON."""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, NoReturn

from weighworthy_service.tables.cells import (
    SHOWN_LENGTH,
    AnyRow,
    BadRow,
    Cell,
    ErrorCell,
    NumberCell,
    TableFault,
    TableNotUsable,
    TimeCell,
    UncachedCell,
)
from weighworthy_service.tables.table_section import TableLimits

_NAMES: Final = 255
_ROW_FORM: Final = 'a line is ["Sheet", row, [cell, …]]'
_NOT_CELLS: Final = frozenset({int, float, list})
_ONE_TEXT: Final[Mapping[str, Callable[[str], Cell]]] = {
    "n": NumberCell,
    "t": TimeCell,
    "error": ErrorCell,
}
_PREFIX: Final = re.compile(r'\s*\[\s*"(?:[^"\\]|\\.)*"\s*,')
_PLACE: Final = re.compile(r'\s*\[\s*("(?:[^"\\]|\\.)*")\s*,\s*([0-9]{1,10})\b')


class _FormError(ValueError):
    pass


def typed_rows(lines: Iterator[str], limits: TableLimits) -> Iterator[AnyRow]:
    """Rows as they were sent, however wide; a line that is none comes as `BadRow` with the row that
    it says, or should have.

    Raises:
        TableNotUsable: `too-many-rows`.
    """
    load = json.JSONDecoder(object_pairs_hook=_cell, parse_constant=_no_constant).decode
    sheet: str | None = None
    number = 0
    for position, line in enumerate(lines):
        if position >= limits.rows:
            detail = f"a table may have {limits.rows} rows; send it in pieces"
            raise TableNotUsable(TableFault("too-many-rows", detail))
        try:
            if len(line) > limits.line:
                raise _FormError("the line is longer than a line may be")
            if "\\u0000" in line:
                raise _FormError("a cell holds a NUL, which no text has")
            row = load(line)
            _check(row, sheet, number, len(line), limits)
        except (ValueError, RecursionError) as error:
            sheet, number = _place(line, sheet, number)
            detail = f"line {position + 1}: {_said(error)}"
            # What stands there is no text of the table.
            yield BadRow(sheet, number, "cells-malformed", detail, "")
            continue
        sheet, number = row[0], row[1]
        yield sheet, number, row[2]


def sheet_prefix(line: str) -> str:
    """How a line names its sheet, as it is written: lines that begin so are of the same sheet."""
    found = _PREFIX.match(line)
    return found[0] if found else line


def _check(row: Any, sheet: str | None, number: int, size: int, limits: TableLimits) -> None:
    if row.__class__ is not list or len(row) != 3:
        raise _FormError(_ROW_FORM)
    name, own, cells = row
    if name.__class__ is not str or own.__class__ is not int or cells.__class__ is not list:
        raise _FormError(_ROW_FORM)
    if not 1 <= len(name) <= _NAMES:
        raise _FormError(f"the name of a sheet has 1 to {_NAMES} characters")
    if not 1 <= own < 10**9 or (own <= number and name == sheet):
        raise _FormError("row numbers count up from 1")
    if not _NOT_CELLS.isdisjoint(map(type, cells)):
        raise _FormError('a number is a text: {"n": "12.003", "format": "0.000"}')
    if size > limits.cell and any(
        isinstance(cell, str) and len(cell) > limits.cell for cell in cells
    ):
        raise _FormError(f"a cell may hold {limits.cell} characters")


def _cell(pairs: list[tuple[str, Any]]) -> Cell:
    """An object of JSON is a cell that is no text; whatever else it is makes the line malformed."""
    key, value = pairs[0] if pairs else ("", None)
    if len(pairs) == 2 and value.__class__ is str:
        other, more = pairs[1]
        if more.__class__ is str and len(value) < SHOWN_LENGTH and len(more) < SHOWN_LENGTH:
            if key == "n" and other == "format":
                return NumberCell(value, more)
            if key == "format" and other == "n":
                return NumberCell(more, value)
            if {key, other} == {"t", "format"}:
                # How a time is shown says nothing of what it is; the format is the sender's.
                return TimeCell(value if key == "t" else more)
    elif len(pairs) == 1:
        if key == "b" and value.__class__ is bool:
            flag: bool = value
            return flag
        if key == "uncached" and value.__class__ is str:
            return UncachedCell(value[:SHOWN_LENGTH])
        make = _ONE_TEXT.get(key)
        if make is not None and value.__class__ is str and len(value) < SHOWN_LENGTH:
            return make(value)
    raise _FormError(
        'a cell is null, a text, {"n", "format"}, {"t", "format"}, {"b"}, {"error"} or '
        f'{{"uncached"}}, its texts shorter than {SHOWN_LENGTH} characters'
    )


def _no_constant(name: str) -> NoReturn:
    raise _FormError(f"{name} is not JSON")


def _said(error: Exception) -> str:
    return str(error) if isinstance(error, _FormError) else "the line is not valid JSON"


def _place(line: str, sheet: str | None, number: int) -> tuple[str | None, int]:
    """Sheet and number that a malformed line begins with; otherwise those that it should have."""
    found = _PLACE.match(line)
    try:
        name = json.loads(found[1]) if found else ""
    except ValueError:
        name = ""
    if found is None or not 1 <= len(name) <= _NAMES:
        return sheet, number + 1
    own, least = int(found[2]), number + 1 if name == sheet else 1
    return name, own if least <= own < 10**9 else least
