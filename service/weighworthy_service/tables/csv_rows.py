"""Lines into records, so that a broken quote costs its own row and not the rest of the file.

Python's reader follows a quote that is never closed to the end of the file. Here it may look ahead
no farther than the cell may be long that the quote opens, and all lines of a record no longer than
a line; then its row is set aside and reading goes on in the next line. Where another stray quote
closes it, rows between the two would be one cell: each of them is set aside.
"""

import csv
from collections import deque
from collections.abc import Iterator
from typing import Any, Final

from weighworthy_service.tables.cells import (
    SHOWN_LENGTH,
    AnyRow,
    BadRow,
    TableFault,
    TableNotUsable,
)
from weighworthy_service.tables.open_cell import open_cell
from weighworthy_service.tables.over_rows import encloses_rows
from weighworthy_service.tables.table_section import Delimiter, TableLimits

# Each costs a look ahead, usually over a cell; a file with more of them, or of which as much is
# read in vain, does not quote as CSV does.
_MOST_BROKEN_QUOTES: Final = 1000


def csv_rows(
    lines: Iterator[str], delimiter: Delimiter, limits: TableLimits, first: int = 1
) -> Iterator[AnyRow]:
    """Rows of cells, numbered from `first`; what is no row comes as `BadRow`, in its place.

    Raises:
        TableNotUsable: `quotes-broken`, `too-many-rows`.
    """
    # Lines of the record that is being read, and lines that a broken quote has given back.
    taken: list[str] = []
    given_back: deque[str] = deque()

    def source() -> Iterator[str]:
        # The reader takes the end of its source for a fault of the record that is open.
        held = size = 0
        while True:
            if taken:
                held = open_cell(taken[-1], held)
                if held > limits.cell:
                    return
            else:
                held = size = 0
            line = given_back.popleft() if given_back else next(lines, "")
            if not line:
                return
            taken.append(line)
            size += len(line)
            if size > limits.line:
                return
            yield line

    number, broken, last = first, 0, first + limits.rows
    in_vain = 0
    while True:
        reader: Iterator[list[Any]] = csv.reader(source(), delimiter=delimiter, strict=True)
        try:
            for cells in reader:
                if len(taken) > 1 or len(taken[0]) > limits.cell or len(cells) > limits.columns:
                    made = _looked_at(cells, number, taken, delimiter, limits)
                    yield from made
                    number += len(made)
                else:
                    yield None, number, cells
                    number += 1
                taken.clear()
                if number > last:
                    raise TableNotUsable(_too_many(limits))
        except csv.Error as error:
            yield _broken(number, taken, str(error))
            broken += len(taken) > 1
            in_vain += sum(map(len, taken[1:]))
        else:
            if not taken:
                return
            yield _broken(number, taken, "line")
        number += 1
        given_back.extendleft(reversed(taken[1:]))
        taken.clear()
        if number > last:
            raise TableNotUsable(_too_many(limits))
        if broken > _MOST_BROKEN_QUOTES or in_vain > _MOST_BROKEN_QUOTES * limits.cell:
            raise TableNotUsable(_not_quoted())


def _looked_at(
    cells: list[Any], number: int, taken: list[str], delimiter: Delimiter, limits: TableLimits
) -> list[AnyRow]:
    """What a record comes to of which something is unusual: a row, or as many as it has lines."""
    if len(taken) > 1 and encloses_rows(taken, cells, delimiter):
        return _over_rows(number, taken)
    return [_within(cells, number, taken[0], limits)]


def _within(cells: list[Any], number: int, line: str, limits: TableLimits) -> AnyRow:
    if len(cells) > limits.columns:
        return _bad(
            number,
            line,
            "too-many-columns",
            f"the row has {len(cells)} cells; a table may have {limits.columns} columns",
        )
    if any(len(cell) > limits.cell for cell in cells):
        return _bad(number, line, "cell-too-long", f"a cell may hold {limits.cell} characters")
    return None, number, cells


def _broken(number: int, taken: list[str], error: str) -> BadRow:
    line = taken[0]
    if error == "line":
        return _bad(number, line, "line-too-long", "the line is longer than a line may be")
    # Of its own line alone: it must say the same where a table is cut behind it.
    if error.startswith("field larger") and len(taken) == 1:
        return _bad(number, line, "cell-too-long", "a cell is longer than a cell may be")
    return _bad(
        number,
        line,
        "quote-unclosed",
        "a quotation mark that opens a cell has no fellow that closes it before a delimiter, "
        "within as much as a cell and a row may hold",
    )


def _over_rows(number: int, taken: list[str]) -> list[AnyRow]:
    detail = (
        f"a quotation mark opens in row {number} and is closed in row {number + len(taken) - 1}, "
        "but what it encloses looks like rows of the table: take out the stray quotation marks or, "
        "if it is a note, write it on one line, or end rows with CR LF and lines of a note with LF"
    )
    return [
        _bad(number + place, line, "quote-over-rows", detail) for place, line in enumerate(taken)
    ]


def _bad(number: int, line: str, code: str, detail: str) -> BadRow:
    return BadRow(None, number, code, detail, line[:SHOWN_LENGTH].rstrip("\r\n"))


def _too_many(limits: TableLimits) -> TableFault:
    return TableFault("too-many-rows", f"a table may have {limits.rows} rows; send it in pieces")


def _not_quoted() -> TableFault:
    return TableFault(
        "quotes-broken",
        f"more than {_MOST_BROKEN_QUOTES} quotation marks open a cell and are never closed, or "
        "those that are not keep too much of the file from being read; export the file with "
        "quotation marks doubled inside quoted cells",
    )
