"""Cells of a workbook that stand right of its table: the service does not read them, so tell."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from weighworthy.workbook import Sheets

_NAMED = 5


def note_on_cells_beside(cells: Path, sheets: Sheets, read_as: Mapping[str, Any]) -> str | None:
    """A remark for people on rows that go on behind the header's last cell; None: none does.

    ``cells`` are the rows as they were sent; ``read_as`` tells which sheet was read, and which row
    of it is the header.
    """
    sheet, header_row = str(read_as.get("sheet")), read_as.get("header_row")
    if not header_row or sheet not in sheets.widths:
        return None
    rows = _rows(cells, sheet, sheets.begins[sheet])
    width = next((len(row) for number, row in rows if number == header_row), None)
    if width is None or sheets.widths[sheet] <= width:
        return None
    found = [number for number, row in rows if any(map(_holds_anything, row[width:]))]
    if not found:
        return None
    named = ", ".join(map(str, found[:_NAMED])) + (", …" if len(found) > _NAMED else "")
    many = "1 row has" if len(found) == 1 else f"{len(found):,} rows have"
    return f"sheet {sheet!r}: {many} cells right of the table, which were not read: {named}"


def _rows(cells: Path, sheet: str, begin: int) -> Iterator[tuple[int, list[Any]]]:
    with cells.open("rb") as file:
        file.seek(begin)
        for line in file:
            name, number, row = json.loads(line)
            if name != sheet:
                return
            yield number, row


def _holds_anything(cell: Any) -> bool:
    return bool(cell.strip()) if isinstance(cell, str) else cell is not None
