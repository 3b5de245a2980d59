"""A table with nothing left open: columns, decimal mark, and the account of how it was read."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weighworthy_service.tables.cells import AnyRow, Row, TableFault, TableNotUsable
from weighworthy_service.tables.decimal_mark import find_decimal_mark
from weighworthy_service.tables.header import column_places, header_texts
from weighworthy_service.tables.numbers import Marks
from weighworthy_service.tables.table import Frame, Table, framed
from weighworthy_service.tables.table_section import DecimalMark, TableSection


@dataclass(frozen=True, slots=True)
class File:
    """What both kinds of files come to: their rows, the first of them, the header, the number."""

    rows: Callable[[], Iterator[AnyRow]]
    beginning: Sequence[Row]
    header: Row
    total: int
    read_as: Mapping[str, Any]


def settled(
    file: File,
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
    if number and not wanted and not any(header):
        detail = f"row {number} would be the header, but is empty: state `header_row`"
        raise TableNotUsable(TableFault("header-not-found", detail, sheet, number))
    data = [row for row in file.beginning if row[1] > number]
    of_numbers = {name: columns[name] for name in numbers}
    decimal = _decimal(data, of_numbers, section)
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
    skip = None
    if section.skip is not None:
        texts = frozenset(text.strip().casefold() for text in section.skip.texts)
        skip = columns[section.skip.column], texts
    delimiter = read_as["delimiter"]
    places = tuple(of_numbers.values())
    frame = Frame(sheet, number, cells, probe, section.stop_at, skip, delimiter, places)
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
