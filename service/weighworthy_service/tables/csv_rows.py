"""Lines into records, so that a broken quote costs its own row and not the rest of the file.

Python's reader follows a quote that is never closed to the end of the file. Here it may look ahead
no farther than a cell may be long; then its row is set aside and reading goes on in the next line.
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
from weighworthy_service.tables.table_section import Delimiter, TableLimits

# Each costs a look ahead over a whole cell; a file with more of them does not quote as CSV does.
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
        ahead = 0
        while True:
            line = given_back.popleft() if given_back else next(lines, "")
            if taken:
                ahead = ahead + len(line) if len(taken) > 1 else len(line)
            if not line:
                return
            taken.append(line)
            if len(line) > limits.line or (len(taken) > 1 and ahead > limits.cell):
                # The reader takes the end of its source for a fault of the record that is open.
                return
            yield line

    number, broken, last = first, 0, first + limits.rows
    while True:
        reader: Iterator[list[Any]] = csv.reader(source(), delimiter=delimiter, strict=True)
        try:
            for cells in reader:
                if len(taken) > 1 or len(taken[0]) > limits.cell or len(cells) > limits.columns:
                    yield _within(cells, number, taken[0], limits)
                else:
                    yield None, number, cells
                number += 1
                taken.clear()
                if number > last:
                    raise TableNotUsable(_too_many(limits))
        except csv.Error as error:
            yield _broken(number, taken[0], str(error))
            broken += len(taken) > 1
        else:
            if not taken:
                return
            yield _broken(number, taken[0], "line")
        number += 1
        given_back.extendleft(reversed(taken[1:]))
        taken.clear()
        if number > last:
            raise TableNotUsable(_too_many(limits))
        if broken > _MOST_BROKEN_QUOTES:
            raise TableNotUsable(_not_quoted())


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


def _broken(number: int, line: str, error: str) -> BadRow:
    if error == "line":
        return _bad(number, line, "line-too-long", "the line is longer than a line may be")
    if error.startswith("field larger"):
        return _bad(number, line, "cell-too-long", "a cell is longer than a cell may be")
    return _bad(
        number,
        line,
        "quote-unclosed",
        "a quotation mark that opens a cell has no fellow that closes it before a delimiter",
    )


def _bad(number: int, line: str, code: str, detail: str) -> BadRow:
    return BadRow(None, number, code, detail, line[:SHOWN_LENGTH].rstrip("\r\n"))


def _too_many(limits: TableLimits) -> TableFault:
    return TableFault("too-many-rows", f"a table may have {limits.rows} rows; send it in pieces")


def _not_quoted() -> TableFault:
    return TableFault(
        "quotes-broken",
        f"more than {_MOST_BROKEN_QUOTES} quotation marks open a cell and are never closed; "
        "export the file with quotation marks doubled inside quoted cells",
    )
