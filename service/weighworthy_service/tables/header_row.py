"""Which row holds the names of the columns: stated, found by wanted names, or by its looks."""

from collections.abc import Sequence

from weighworthy_service.tables.cells import Cell, Row, TableFault, TableNotUsable, is_empty
from weighworthy_service.tables.header import (
    HEADER_WITHIN,
    find_header,
    missing_columns,
    position_of,
    why_no_header,
)
from weighworthy_service.tables.table_section import TableSection


def header_row_of(first_rows: Sequence[Row], section: TableSection, wanted: Sequence[str]) -> Row:
    """The header row. Where the table has none: a row 0 of the places as names."""
    early = [row for row in first_rows if row[1] <= HEADER_WITHIN]
    if section.header_row == 0:
        named = [name for name in wanted if position_of(name) is None]
        if named:
            raise TableNotUsable(*map(_without_header, named))
        sheet = early[0][0] if early else None
        width = max((len(row[2]) for row in early), default=0)
        return sheet, 0, [f"#{place + 1}" for place in range(width)]
    if section.header_row is not None:
        return stated_header(first_rows, section.header_row, wanted)
    if not wanted:
        return _likely_header(early)
    row = find_header(early, wanted)
    if row is None:
        raise TableNotUsable(*why_no_header(early, wanted))
    return row


def stated_header(first_rows: Sequence[Row], number: int, wanted: Sequence[str]) -> Row:
    """The row that is stated as the header.

    Raises:
        TableNotUsable: `header-not-found`, `column-missing`.
    """
    row = next((row for row in first_rows if row[1] == number), None)
    if row is None or all(map(is_empty, row[2])):
        detail = "stated as the header, but it is empty or cannot be read"
        raise TableNotUsable(TableFault("header-not-found", detail, row=number))
    faults = missing_columns(row, wanted)
    if faults:
        raise TableNotUsable(*faults)
    return row


def _without_header(name: str) -> TableFault:
    detail = f"a table without header has no column {name!r}; write its place, like #1"
    return TableFault("column-missing", detail, column=name, there=())


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
