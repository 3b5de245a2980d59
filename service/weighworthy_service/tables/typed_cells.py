"""Rows of typed cells as a client sends them: one `["Sheet", row, [cell, …]]` a line, in JSON."""

import json
from collections.abc import Iterator
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
    shown,
)
from weighworthy_service.tables.table_section import TableLimits

_NAMES: Final = 255


class _FormError(ValueError):
    pass


def typed_rows(lines: Iterator[str], limits: TableLimits) -> Iterator[AnyRow]:
    """Rows as they were sent; a line that is none comes as `BadRow` with the row it should have.

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
            _check(row, sheet, number, limits)
        except (ValueError, RecursionError) as error:
            number += 1
            yield BadRow(sheet, number, "cells-malformed", _said(error), _beginning(line))
            continue
        sheet, number = row[0], row[1]
        yield sheet, number, row[2]


def _check(row: Any, sheet: str | None, number: int, limits: TableLimits) -> None:
    match row:
        case [str() as name, int() as own, list() as cells] if own.__class__ is int:
            pass
        case _:
            raise _FormError('a line is ["Sheet", row, [cell, …]]')
    if not 1 <= len(name) <= _NAMES:
        raise _FormError(f"the name of a sheet has 1 to {_NAMES} characters")
    if not 1 <= own < 10**9 or (name == sheet and own <= number):
        raise _FormError("row numbers count up from 1")
    if len(cells) > limits.columns:
        raise _FormError(f"the row has {len(cells)} cells, a table may have {limits.columns}")
    for cell in cells:
        kind = cell.__class__
        if kind is str:
            if len(cell) > limits.cell:
                raise _FormError(f"a cell may hold {limits.cell} characters")
        elif kind in (int, float, list):
            raise _FormError('a number is a text: {"n": "12.003", "format": "0.000"}')


def _cell(pairs: list[tuple[str, Any]]) -> Cell:
    """An object of JSON is a cell that is no text; whatever else it is makes the line malformed."""
    made: Cell = None
    match pairs:
        case [("n", str() as text)]:
            made = NumberCell(text)
        case [("n", str() as text), ("format", str() as number_format)]:
            made = NumberCell(text, number_format)
        case [("format", str() as number_format), ("n", str() as text)]:
            made = NumberCell(text, number_format)
        case [("t", str() as text)]:
            made = TimeCell(text)
        case [("b", bool() as flag)]:
            return flag
        case [("error", str() as text)]:
            made = ErrorCell(text)
        case [("uncached", str() as formula)]:
            made = UncachedCell(formula)
        case _:
            raise _FormError(
                'a cell is null, a text, {"n", "format"}, {"t"}, {"b"}, {"error"} or {"uncached"}'
            )
    if len(shown(made)) >= SHOWN_LENGTH and not isinstance(made, UncachedCell):
        raise _FormError("a number, time or error is not that long")
    if isinstance(made, NumberCell) and len(made.format) > _NAMES:
        raise _FormError(f"a number format has at most {_NAMES} characters")
    return made


def _no_constant(name: str) -> NoReturn:
    raise _FormError(f"{name} is not JSON")


def _said(error: Exception) -> str:
    return str(error) if isinstance(error, _FormError) else "the line is not valid JSON"


def _beginning(line: str) -> str:
    return line[:SHOWN_LENGTH].rstrip("\r\n")
