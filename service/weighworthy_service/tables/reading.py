"""Opens the table in a file: settles by rule what the mapping leaves open, and says what it was."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, BinaryIO, Final

from weighworthy_service.tables.cells import (
    AnyRow,
    Cell,
    Row,
    TableFault,
    TableNotUsable,
    is_empty,
)
from weighworthy_service.tables.csv_rows import csv_rows
from weighworthy_service.tables.decimal_mark import find_decimal_mark
from weighworthy_service.tables.delimiter import SAMPLE, find_delimiter
from weighworthy_service.tables.encoding import look_through, text_lines
from weighworthy_service.tables.header import (
    HEADER_WITHIN,
    column_places,
    find_header,
    header_texts,
    missing_columns,
    position_of,
    why_no_header,
)
from weighworthy_service.tables.numbers import Marks
from weighworthy_service.tables.table import Frame, Table, framed
from weighworthy_service.tables.table_section import (
    DELIMITERS,
    DecimalMark,
    Delimiter,
    TableLimits,
    TableSection,
)
from weighworthy_service.tables.typed_cells import typed_rows

_LIMITS: Final = TableLimits()
# Characters of the beginning that are held while a file is opened, against rows of a mebibyte.
_SAMPLE_SIZE: Final = 4 * 1024 * 1024
_MOST_SHEETS: Final = 1000
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
        kept: list[AnyRow] = []
        size = 0
        for row in islice(rows(delimiter), SAMPLE):
            kept.append(row)
            size += _size(row)
            if size > _SAMPLE_SIZE:
                break
        return kept

    stated = section.delimiter or separator
    if stated is not None:
        delimiter, found = stated, True
    else:
        delimiter, found = find_delimiter(sample, wanted, section.header_row)
    beginning = [row for row in sample(delimiter) if isinstance(row, tuple)]
    header = _header(beginning, section, wanted)
    shift = max(0, first_row - header[1] - 1)
    if text.quotes:
        total = sum(1 for _ in rows(delimiter))
    else:
        # Without quotes a line is a row.
        total = text.lines - (separator is not None)
        if total > limits.rows:
            detail = f"the table has {total} rows, {limits.rows} are taken; send it in pieces"
            raise TableNotUsable(TableFault("too-many-rows", detail))
    assumed = ["encoding"] if text.how == "assumed" else []
    if not found:
        assumed.append("delimiter")
    return _table(
        _File(
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
    text = look_through(spool, "utf-8")

    def rows() -> Iterator[AnyRow]:
        return typed_rows(text_lines(spool, text.encoding, limits.line), limits)

    sheets: dict[str | None, list[Row]] = {}
    total = size = 0
    for row in rows():
        total += 1
        if isinstance(row, tuple):
            first_rows = sheets.setdefault(row[0], [])
            if len(first_rows) < SAMPLE and size < _SAMPLE_SIZE:
                first_rows.append(row)
                size += _size(row)
            if len(sheets) > _MOST_SHEETS:
                detail = f"there are more than {_MOST_SHEETS} sheets"
                raise TableNotUsable(TableFault("too-many-sheets", detail))
    sheet, header = _sheet(sheets, section, wanted)
    read_as = {"encoding": None, "delimiter": None}
    file = _File(rows, sheets[sheet], header, total, read_as)
    return _table(file, [], section, wanted, numbers)


@dataclass(frozen=True, slots=True)
class _File:
    """What both kinds of files come to: their rows, the first of them, the header, the number."""

    rows: Callable[[], Iterator[AnyRow]]
    beginning: Sequence[Row]
    header: Row
    total: int
    read_as: Mapping[str, Any]


def _table(
    file: _File,
    assumed: list[str],
    section: TableSection,
    wanted: Sequence[str],
    numbers: Sequence[str],
) -> Table:
    sheet, number, cells = file.header
    header = header_texts(cells)
    columns, faults = column_places(header, wanted)
    if faults:
        raise TableNotUsable(*faults)
    data = [row for row in file.beginning if row[1] > number]
    decimal = _decimal(data, {name: columns[name] for name in numbers}, section)
    if not wanted and section.header_row is None:
        assumed.append("header_row")
    if decimal is None:
        assumed.append("decimal")
    read_as = {
        **file.read_as,
        "decimal": decimal or ".",
        "thousands": section.thousands,
        "header_row": number,
        "sheet": sheet,
    }
    probe = min(columns.values(), default=next((i for i, text in enumerate(header) if text), 0))
    frame = Frame(sheet, number, cells, probe, section.stop_at)
    rows = file.rows
    return Table(
        read_as={
            **read_as,
            "stated": [name for name in read_as if getattr(section, name) is not None],
            "assumed": assumed,
        },
        header=header,
        columns=columns,
        marks=Marks(decimal or ".", section.thousands, frozenset(section.missing)),
        count=file.total - (1 if number else 0),
        _rows=lambda: framed(rows(), frame),
    )


def _header(first_rows: Sequence[Row], section: TableSection, wanted: Sequence[str]) -> Row:
    """The header row. Where the table has none: a row 0 of the places as names."""
    early = [row for row in first_rows if row[1] <= HEADER_WITHIN]
    if section.header_row == 0:
        named = [name for name in wanted if position_of(name) is None]
        if named:
            detail = f"a table without header has no column {named[0]!r}; write its place, like #1"
            raise TableNotUsable(TableFault("column-missing", detail, column=named[0]))
        sheet = early[0][0] if early else None
        width = max((len(row[2]) for row in early), default=0)
        return sheet, 0, [f"#{place + 1}" for place in range(width)]
    if section.header_row is not None:
        row = next((row for row in first_rows if row[1] == section.header_row), None)
        if row is None or all(map(is_empty, row[2])):
            detail = f"row {section.header_row}, stated as the header, is empty or cannot be read"
            raise TableNotUsable(TableFault("header-not-found", detail, row=section.header_row))
        faults = missing_columns(row, wanted)
        if faults:
            raise TableNotUsable(*faults)
        return row
    if not wanted:
        return _likely_header(early)
    row = find_header(early, wanted)
    if row is None:
        raise TableNotUsable(*why_no_header(early, wanted))
    return row


def _likely_header(first_rows: Sequence[Row]) -> Row:
    """The first row that is as wide as any and made of texts without digits in front."""
    width = max((_filled(row[2]) for row in first_rows), default=0)
    for row in first_rows:
        texts = [cell for cell in row[2] if isinstance(cell, str) and cell.strip()]
        if len(texts) == width and not any(text.strip()[0] in "-−0123456789" for text in texts):
            return row
    raise TableNotUsable(
        TableFault(
            "header-not-found",
            f"none of the first {HEADER_WITHIN} rows looks like the names of columns; "
            "state `header_row` in the mapping",
        )
    )


def _filled(cells: Sequence[Cell]) -> int:
    return sum(not is_empty(cell) for cell in cells)


def _decimal(
    data: Sequence[Row], columns: Mapping[str, int], section: TableSection
) -> DecimalMark | None:
    if section.decimal is not None:
        if section.decimal == section.thousands:
            detail = "`decimal` and `thousands` of the mapping are the same"
            raise TableNotUsable(TableFault("decimal-ambiguous", detail))
        return section.decimal
    mark = find_decimal_mark(
        (
            (sheet, number, name, cell)
            for sheet, number, cells in data
            for name, place in columns.items()
            if place < len(cells) and isinstance(cell := cells[place], str)
        ),
        section.thousands,
    )
    if mark is None and section.thousands == ".":
        return ","
    return mark


def _sheet(
    sheets: Mapping[str | None, Sequence[Row]], section: TableSection, wanted: Sequence[str]
) -> tuple[str | None, Row]:
    """The sheet that holds the table, and its header row."""
    if section.sheet is not None:
        if section.sheet not in sheets:
            listed = ", ".join(repr(name) for name in sheets)
            detail = f"there is no sheet {section.sheet!r}; there are {listed}"
            raise TableNotUsable(TableFault("sheet-not-found", detail))
        return section.sheet, _header(sheets[section.sheet], section, wanted)
    if not sheets:
        raise TableNotUsable(TableFault("table-empty", "there is no row of cells"))
    found: dict[str | None, Row] = {}
    faults: list[TableFault] = []
    for name, first_rows in sheets.items():
        try:
            found[name] = _header(first_rows, section, wanted)
        except TableNotUsable as error:
            faults.extend(error.errors)
    if len(found) > 1:
        listed = ", ".join(repr(name) for name in found)
        detail = f"the sheets {listed} all hold such a table; state `sheet` in the mapping"
        raise TableNotUsable(TableFault("sheet-unclear", detail))
    if not found:
        raise TableNotUsable(*faults)
    return next(iter(found.items()))


def _size(row: AnyRow) -> int:
    """Characters of a row, about."""
    return (
        sum(len(cell) if isinstance(cell, str) else 40 for cell in row[2])
        if (isinstance(row, tuple))
        else 200
    )


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
