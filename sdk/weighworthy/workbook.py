"""Sheets of a workbook as rows of typed cells, as the service takes them.

What a cell means is decided by the service; here only what the workbook says of it is kept: its
number and number format, its time, its error, and that a formula came without a result.
"""

import json
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import chain, islice
from operator import itemgetter
from pathlib import Path
from typing import Any, BinaryIO, TypeAlias

from weighworthy.errors import TableFileError
from weighworthy.mapping_files import MappingFile, column_key
from weighworthy.table_cells import Cell, cell_of
from weighworthy.workbook_check import check_package
from weighworthy.workbook_seen import Hidden, Seen

INSTALL = "pip install 'weighworthy[xlsx]'"
_HEADER_WITHIN = 30
# Cells of one line that are kept; the service refuses rows with more than its limit by themselves.
_WIDEST = 20_000
_COLUMN = itemgetter("column")
_UNSEEN = Seen(formulas=True, hidden=Hidden(), last_row=None)


@dataclass(frozen=True, slots=True)
class Sheets:
    """What was read: how many columns each sheet has, by its name, at which byte its lines begin,
    what of it is hidden, and remarks for people."""

    widths: Mapping[str, int]
    begins: Mapping[str, int]
    notes: tuple[str, ...]
    hidden: Mapping[str, Hidden] = field(default_factory=dict)


def write_cells(
    path: Path, out: BinaryIO, mapping: MappingFile, sheet: str | None = None
) -> Sheets:
    """Write the rows of a workbook as lines ``["Sheet", row, [cell, …]]``.

    ``sheet`` or that of the mapping, else all that are not hidden. Rows without any content are no
    rows. Formulas are looked at a second time only where a cell that the mapping wants came empty.
    Raises ``OSError``, `TableFileError`, ``ImportError`` saying what to install.
    """
    package = check_package(path)
    notes = [*package.notes]
    with _opened(path, values=True) as book:
        names, remark = _chosen(book, sheet or mapping.table.get("sheet"))
        notes += remark
        wanting = False
        begin = out.tell()
        widths, begins, lasts, hidden = {}, {}, {}, {}
        for name in names:
            seen = package.sheets.get(book[name]._worksheet_path, _UNSEEN)
            if seen.out_of_order is not None:
                raise TableFileError(_out_of_order(name, *seen.out_of_order))
            if seen.hidden:
                notes.append(f"sheet {name!r}: read like the others: {seen.hidden}")
            hidden[name], lasts[name] = seen.hidden, seen.last_row
            begins[name] = out.tell()
            watch = _Watch(_rows(book[name], lasts[name]), mapping if package.formulas else None)
            widths[name] = _write_lines(out, name, watch.rows())
            wanting |= watch.wanting
    if wanting:
        out.seek(begin)
        out.truncate()
        with _opened(path, values=True) as book, _opened(path, values=False) as formulas:
            for name in names:
                begins[name] = out.tell()
                rows = _with_formulas(
                    _rows(book[name], lasts[name]), _raw_rows(formulas[name], lasts[name])
                )
                widths[name] = _write_lines(out, name, rows)
    return Sheets(widths, begins, tuple(notes), hidden)


@contextmanager
def _opened(path: Path, *, values: bool) -> Iterator[Any]:
    try:
        import defusedxml  # noqa: F401, PLC0415 - openpyxl uses it if it is there; it must be
        import openpyxl  # noqa: PLC0415
        from openpyxl.utils.exceptions import InvalidFileException  # noqa: PLC0415
    except ImportError as error:
        raise ImportError(f"workbooks need more: {INSTALL}  ({error})", name=error.name) from error
    if not openpyxl.DEFUSEDXML:
        raise ImportError(f"openpyxl was told to read XML without defusedxml: {INSTALL}")
    with warnings.catch_warnings(), path.open("rb") as file:
        # About things of the workbook that are not read here, such as lists of choices.
        warnings.simplefilter("ignore")
        try:
            # A file object, because openpyxl would refuse a workbook by its name alone.
            book = openpyxl.load_workbook(file, read_only=True, data_only=values, keep_links=False)
            yield book
            book.close()
        except (TableFileError, OSError, ImportError):
            raise
        except (InvalidFileException, Exception) as error:
            # openpyxl raises whatever its parts raise: KeyError, ParseError, ValueError, …
            cause: BaseException = error
            while cause.__cause__ is not None:
                cause = cause.__cause__
            said = f"{type(cause).__name__}: {cause}"[:200]
            raise TableFileError(f"{path.name}: the workbook cannot be read ({said})") from error


def _chosen(book: Any, wanted: str | None) -> tuple[tuple[str, ...], list[str]]:
    sheets = {sheet.title: sheet.sheet_state == "visible" for sheet in book.worksheets}
    if wanted is not None:
        if wanted not in sheets:
            listed = ", ".join(map(repr, sheets))
            raise TableFileError(f"there is no sheet {wanted!r}; there are {listed}")
        return (wanted,), []
    names = tuple(name for name, visible in sheets.items() if visible)
    hidden = ", ".join(repr(name) for name, visible in sheets.items() if not visible)
    remark = [f"hidden sheets were not read: {hidden}; name one to have it read"] if hidden else []
    if not names:
        raise TableFileError("the workbook has no sheet that is not hidden; name the one to read")
    return names, remark


def _out_of_order(sheet: str, row: int, above: int) -> str:
    return (
        f"sheet {sheet!r}: row {row} stands below row {above}, so that rows would be lost; open "
        "the workbook in a spreadsheet program and save it, then its rows are in order"
    )


Rows: TypeAlias = Iterator[tuple[int, list[Cell]]]


def _raw_rows(sheet: Any, last: int | None) -> Iterator[tuple[int, tuple[Any, ...]]]:
    # Without its stated size, which a program may have got wrong, a row is as wide as it is.
    sheet.reset_dimensions()
    sheet._get_row = _whole_rows(sheet)
    # Rows without any content behind the last that has some may be a million.
    if last == 0:
        return
    for number, row in enumerate(sheet.iter_rows(max_row=last), start=1):
        if len(row) > _WIDEST:
            raise TableFileError(f"sheet {sheet.title!r}, row {number} has {len(row)} columns")
        yield number, row


def _whole_rows(sheet: Any) -> Callable[..., Any]:
    """The library's way to make a row, which takes the last cell for the one farthest right."""
    make: Callable[..., Any] = sheet._get_row

    def whole(row: Sequence[Mapping[str, Any]], *within: Any) -> Any:
        if row and row[-1]["column"] < max(map(_COLUMN, row)):
            raise TableFileError(
                f"sheet {sheet.title!r}, row {row[-1]['row']}: cells do not stand in the order of "
                "their columns, so that some would be lost; open the workbook in a spreadsheet "
                "program and save it"
            )
        return make(row, *within)

    return whole


def _rows(sheet: Any, last: int | None) -> Rows:
    formats: dict[int, str] = {}
    for number, row in _raw_rows(sheet, last):
        cells: list[Cell] = []
        for cell in row:
            value = cell.value
            if value is None:
                cells.append(None)
            elif value.__class__ is str:
                cells.append({"error": value} if cell.data_type == "e" else value or None)
            elif value.__class__ is bool:
                cells.append({"b": value})
            else:
                style = cell._style_id  # the public property looks it up anew for every cell
                known = formats.get(style)
                if known is None:
                    known = formats[style] = cell.number_format or "General"
                cells.append(cell_of(value, known))
        yield number, cells


def _with_formulas(rows: Rows, formulas: Iterable[tuple[int, tuple[Any, ...]]]) -> Rows:
    for (number, cells), (_, row) in zip(rows, formulas, strict=True):
        for place, cell in enumerate(row[: len(cells)]):
            if cells[place] is None and cell.data_type == "f":
                cells[place] = {"uncached": str(getattr(cell.value, "text", cell.value))}
        yield number, cells


class _Watch:
    """Rows on their way, and whether a cell that the mapping wants came empty: `wanting`."""

    def __init__(self, rows: Rows, mapping: MappingFile | None) -> None:
        self._rows, self._mapping = rows, mapping
        self.wanting = False

    def rows(self) -> Rows:
        if self._mapping is None:
            yield from self._rows
            return
        first = list(islice(self._rows, _HEADER_WITHIN))
        places = _places([cells for _, cells in first], self._mapping)
        for number, cells in chain(first, self._rows):
            if not self.wanting:
                self.wanting = any(p >= len(cells) or cells[p] is None for p in places)
            yield number, cells


def _places(first: Sequence[list[Cell]], mapping: MappingFile) -> list[int]:
    """Where the wanted columns lie, as far as that can be seen; their names are the header's."""
    keys = {column_key(name) for name in mapping.columns if not name.startswith("#")}
    best: dict[str, int] = {}
    for cells in first:
        found = {
            column_key(text): place for place, text in enumerate(cells) if isinstance(text, str)
        }
        here = {key: found[key] for key in keys if key in found}
        best = here if len(here) > len(best) else best
    numbered = [int(n[1:]) - 1 for n in mapping.columns if n[:1] == "#" and n[1:].isdecimal()]
    return [*best.values(), *numbered]


def _write_lines(out: BinaryIO, name: str, rows: Rows) -> int:
    """Write the rows that hold anything; how many columns the widest has."""
    encode: Callable[[Any], str] = json.JSONEncoder(ensure_ascii=False).encode
    sheet = encode(name)
    width = 0
    for number, cells in rows:
        while cells and cells[-1] is None:
            cells.pop()
        if cells:
            width = max(width, len(cells))
            line = f"[{sheet}, {number}, {encode(cells)}]\n"
            out.write(line.encode("utf-8", "replace"))
    return width
