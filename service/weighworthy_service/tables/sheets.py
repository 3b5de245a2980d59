"""Which sheet of a workbook holds the table, from the first rows of each."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from weighworthy_service.tables.cells import BadRow, Row, TableFault, TableNotUsable
from weighworthy_service.tables.header_row import header_row_of
from weighworthy_service.tables.listed import listed
from weighworthy_service.tables.sample import SAMPLE_ROWS, SAMPLE_SIZE, size_of
from weighworthy_service.tables.table_section import TableLimits, TableSection
from weighworthy_service.tables.typed_cells import sheet_prefix, typed_rows

_MOST_SHEETS: Final = 255


def beginnings(lines: Iterator[str], limits: TableLimits) -> dict[str | None, list[Row]]:
    """The first rows of each sheet. What is behind them is counted, but not read at this stage."""
    sheets: dict[str | None, list[Row]] = {}
    full: tuple[str, ...] = ()
    current = ""
    size = 0
    first_bad = ""

    def unread() -> Iterator[str]:
        nonlocal current
        for current in lines:
            if not current.startswith(full):
                yield current

    for row in typed_rows(unread(), limits):
        if not isinstance(row, tuple):
            if isinstance(row, BadRow):
                first_bad = first_bad or row.detail
            continue
        first_rows = sheets.setdefault(row[0], [])
        if size < SAMPLE_SIZE:
            first_rows.append(row)
            size += size_of(row)
        if size >= SAMPLE_SIZE or len(first_rows) >= SAMPLE_ROWS:
            full = (*full, sheet_prefix(current))
        if len(sheets) > _MOST_SHEETS:
            detail = f"there are more than {_MOST_SHEETS} sheets"
            raise TableNotUsable(TableFault("too-many-sheets", detail))
    if not sheets:
        detail = "there is no row of cells" + (f"; {first_bad}" if first_bad else "")
        raise TableNotUsable(TableFault("table-empty", detail))
    return sheets


def chosen_sheet(
    sheets: Mapping[str | None, Sequence[Row]], section: TableSection, wanted: Sequence[str]
) -> tuple[str | None, Row]:
    """The sheet that holds the table, and its header row."""
    if section.sheet is not None:
        if section.sheet not in sheets:
            names = listed([str(name) for name in sheets])
            detail = f"there is no sheet {section.sheet!r}; there are {names}"
            raise TableNotUsable(TableFault("sheet-not-found", detail, there=()))
        return section.sheet, header_row_of(sheets[section.sheet], section, wanted)
    found: dict[str | None, Row] = {}
    reasons: list[tuple[TableFault, ...]] = []
    for name, first_rows in sheets.items():
        try:
            found[name] = header_row_of(first_rows, section, wanted)
        except TableNotUsable as error:
            reasons.append(error.errors)
    if len(found) > 1:
        names = listed([str(name) for name in found])
        detail = f"the sheets {names} all hold such a table; state `sheet` in the mapping"
        raise TableNotUsable(TableFault("sheet-unclear", detail))
    if not found:
        # Those of the sheet that comes nearest.
        nearest = min(reasons, key=lambda why: (why[0].code != "column-missing", len(why)))
        raise TableNotUsable(*nearest)
    return next(iter(found.items()))
