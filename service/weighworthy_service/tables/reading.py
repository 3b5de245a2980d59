"""Opens the table in a file: settles by rule what the mapping leaves open, and says what it was."""

import re
from collections.abc import Iterator, Sequence
from typing import BinaryIO, Final

from weighworthy_service.tables.cells import (
    AnyRow,
    BadRow,
    Row,
    TableFault,
    TableNotUsable,
    is_empty,
)
from weighworthy_service.tables.csv_rows import csv_rows
from weighworthy_service.tables.delimiter import find_delimiter
from weighworthy_service.tables.encoding import look_through, text_lines
from weighworthy_service.tables.header import HEADER_WITHIN, column_letters
from weighworthy_service.tables.header_row import header_row_of
from weighworthy_service.tables.sample import sample_of
from weighworthy_service.tables.settled import File, settled
from weighworthy_service.tables.sheets import beginnings, chosen_sheet
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.table_section import (
    DELIMITERS,
    Delimiter,
    TableLimits,
    TableSection,
)
from weighworthy_service.tables.typed_cells import typed_rows

_LIMITS: Final = TableLimits()
_SEPARATOR_LINE: Final = re.compile(r"sep=(.)\s*", re.IGNORECASE)


def open_csv(
    spool: BinaryIO,
    section: TableSection,
    wanted: Sequence[str],
    *,
    numbers: Sequence[str] = (),
    first_row: int = 1,
    limits: TableLimits = _LIMITS,
) -> Table:
    """Open a CSV file, read from its beginning.

    Args:
        wanted: names of the columns that are needed, or "#7" for the seventh; by them the header
            row and the delimiter are found. Without any the shape of the rows decides.
        numbers: those of them that hold numbers; by them the decimal mark is found.
        first_row: number of the row behind the header row, where the file is a piece of a longer
            one; one that is too low for the rows above it says nothing.

    Raises:
        TableNotUsable: with all that is known to be wrong with the file as a whole.
    """
    text = look_through(spool, section.encoding)
    separator = _separator_line(spool, text.encoding, limits)

    def rows(delimiter: Delimiter, first: int = 1) -> Iterator[AnyRow]:
        lines = text_lines(spool, text.encoding, limits.line)
        if separator is not None:
            next(lines)
        return csv_rows(lines, delimiter, limits, first)

    def sample(delimiter: Delimiter) -> list[AnyRow]:
        return sample_of(rows(delimiter))

    stated = section.delimiter or separator
    try:
        if stated is not None:
            delimiter, found = stated, True
        else:
            delimiter, found = find_delimiter(sample, wanted, section.header_row)
        first_rows = sample(delimiter)
        beginning = [row for row in first_rows if isinstance(row, tuple)]
        header = header_row_of(beginning, section, wanted)
    except TableNotUsable as error:
        if error.errors[0].code in ("header-not-found", "delimiter-unclear"):
            for mark in DELIMITERS if stated is None else (stated,):
                _refuse_too_wide(sample(mark), 0)
        raise
    if not wanted:
        # A title that looks like a header is none of rows that are too wide to be looked into.
        _refuse_too_wide(first_rows, len(first_rows) // 2)
    shift = max(0, first_row - header[1] - 1)
    if text.quotes:
        total = sum(1 for _ in rows(delimiter))
    else:
        # Without quotes a line is a row.
        total = text.lines - (separator is not None)
        _refuse_too_many(total, limits)
    assumed = ["encoding"] if text.how == "assumed" else []
    if not found:
        assumed.append("delimiter")
    return settled(
        File(
            lambda: rows(delimiter, 1 + shift),
            [(sheet, number + shift, cells) for sheet, number, cells in beginning],
            (None, header[1] + shift if header[1] else 0, header[2]),
            total,
            {"encoding": text.encoding, "delimiter": delimiter},
        ),
        assumed,
        section,
        wanted,
        numbers,
    )


def open_cells(
    spool: BinaryIO,
    section: TableSection,
    wanted: Sequence[str],
    *,
    numbers: Sequence[str] = (),
    limits: TableLimits = _LIMITS,
) -> Table:
    """Open rows of typed cells, as `open_csv` does a CSV file; they bring their row numbers.

    Raises:
        TableNotUsable: also `sheet-not-found`, and `sheet-unclear` where several sheets hold the
            header and the mapping names none.
    """
    text = look_through(spool, "utf-8", "typed cells are in")

    def rows() -> Iterator[AnyRow]:
        return typed_rows(text_lines(spool, text.encoding, limits.line), limits)

    _refuse_too_many(text.lines, limits)
    sheets = beginnings(text_lines(spool, text.encoding, limits.line), limits)
    sheet, header = chosen_sheet(sheets, section, wanted)
    header = _of_width(header, limits)
    read_as = {"encoding": None, "delimiter": None}
    file = File(rows, sheets[sheet], header, text.lines, read_as)
    return settled(file, [], section, wanted, numbers)


def _refuse_too_many(rows: int, limits: TableLimits) -> None:
    if rows > limits.rows:
        detail = f"the table has {rows} rows, {limits.rows} are taken; send it in pieces"
        raise TableNotUsable(TableFault("too-many-rows", detail))


def _of_width(header: Row, limits: TableLimits) -> Row:
    """The header of a workbook, whose rows may be wider than a table: what counts is written."""
    sheet, number, cells = header
    width = len(cells)
    if width <= limits.columns:
        return header
    while width and is_empty(cells[width - 1]):
        width -= 1
    if width > limits.columns:
        place = f"{column_letters(width)}{number}"
        detail = f"the header goes to the cell {place}; a table may have {limits.columns} columns"
        raise TableNotUsable(TableFault("too-many-columns", detail, sheet, number))
    return sheet, number, cells[:width]


def _refuse_too_wide(first_rows: Sequence[AnyRow], at_most: int) -> None:
    """A row that has too many cells to be looked into may be the header, or most rows have."""
    wide = [row for row in first_rows if isinstance(row, BadRow) and row.code == "too-many-columns"]
    if len(wide) > at_most and wide[0].number <= HEADER_WITHIN:
        first = wide[0]
        raise TableNotUsable(TableFault(first.code, first.detail, row=first.number))


def _separator_line(spool: BinaryIO, encoding: str, limits: TableLimits) -> Delimiter | None:
    """The delimiter of a first line like `sep=;`, which is no row of the table."""
    line = next(text_lines(spool, encoding, limits.line), "")
    found = _SEPARATOR_LINE.fullmatch(line)
    if found is None:
        return None
    for mark in DELIMITERS:
        if mark == found[1]:
            return mark
    raise TableNotUsable(
        TableFault("delimiter-unclear", f"the first line names {found[1]!r} as delimiter", row=1)
    )
