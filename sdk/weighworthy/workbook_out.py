"""A table with verdicts as a workbook: what came in, and the added columns."""

import csv
import json
import re
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, BinaryIO, Self

from weighworthy.errors import TableFileError
from weighworthy.table_answers import header_of
from weighworthy.table_counts import FIRST_ADDED
from weighworthy.workbook import INSTALL
from weighworthy.workbook_seen import Hidden

MOST_ROWS, MOST_COLUMNS, _LONGEST = 1_048_576, 16_384, 32_767
_FORBIDDEN = re.compile(r"[\[\]:*?/\\]")
_NUMERIC = frozenset(
    {
        "ww_first_row",
        "ww_value",
        "ww_lower_limit",
        "ww_upper_limit",
        "ww_expanded_uncertainty",
        "ww_margin",
    }
)
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_FLAG = "ww_usable"
_HIDDEN = {"hidden": True}
# The same table gives the same bytes, so the time of writing is not in it.
_ALWAYS = datetime(2000, 1, 1)  # noqa: DTZ001 - the library writes it as UTC
_TIMES = "yyyy-mm-dd hh:mm:ss"
# Digits that a number of a workbook surely keeps.
_FLOAT_DIGITS = 15


@dataclass
class _Book:
    """A workbook that is written row by row, without ever being held whole."""

    path: Path
    sheets: dict[str, Any] = field(default_factory=dict)
    formats: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        try:
            import xlsxwriter  # noqa: PLC0415
        except ImportError as error:
            raise ImportError(f"workbooks need more: {INSTALL}  ({error})") from error
        # No text becomes a formula, a link or a number: a cell is what it was.
        self.book = xlsxwriter.Workbook(
            str(self.path),
            {
                "constant_memory": True,
                "tmpdir": str(self.path.parent),
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
            },
        )
        self.book.set_properties({"created": _ALWAYS})
        self.bold = self.book.add_format({"bold": True})

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        from xlsxwriter.exceptions import FileCreateError  # noqa: PLC0415

        # Also after a fault: only closing takes away the files that rows are kept in.
        try:
            self.book.close()
        except FileCreateError as error:
            said = next((e for e in error.args if isinstance(e, OSError)), None)
            if said is None:
                raise
            raise said from error

    def sheet(self, name: str) -> Any:
        if name not in self.sheets:
            safe = _FORBIDDEN.sub("_", name)[:31].strip("'") or "Table"
            self.sheets[name] = self.book.add_worksheet(safe)
        return self.sheets[name]

    def format(self, number_format: str) -> Any:
        if number_format not in self.formats:
            from openpyxl.styles.numbers import BUILTIN_FORMATS_REVERSE  # noqa: PLC0415

            # Those that each country writes in its own way are known by their number alone.
            shown = BUILTIN_FORMATS_REVERSE.get(number_format, number_format)
            self.formats[number_format] = self.book.add_format({"num_format": shown})
        return self.formats[number_format]


def workbook_of_csv(answer: Path, decimal: str, out: Path) -> None:
    """Turn an answer in CSV into a workbook.

    A cell that is a plain number becomes one, shown with the digits it came with; every other cell
    is the text that it was. Raises `TableFileError` for a table that no sheet can hold.
    """
    layout = header_of(answer)
    number = re.compile(rf"-?(?:0|[1-9][0-9]*)(?:{re.escape(decimal)}([0-9]+))?")
    computed: frozenset[int] = frozenset()
    flags: frozenset[int] = frozenset()
    with _Book(out) as book, answer.open(encoding="utf-8-sig", newline="") as file:
        sheet = book.sheet("Table")
        for index, row in enumerate(csv.reader(file, delimiter=layout.delimiter)):
            _check_size(index, len(row))
            if not computed and FIRST_ADDED in row:
                computed = frozenset(p for p, name in enumerate(row) if name in _NUMERIC)
                flags = frozenset(p for p, name in enumerate(row) if name == _FLAG)
                for place, text in enumerate(row):
                    if text:
                        _write_text(sheet, index, place, text)
                continue
            for place, text in enumerate(row):
                if not text:
                    continue
                if place in flags:
                    sheet.write_boolean(index, place, text == "true")
                    continue
                match = number.fullmatch(text)
                if match is None or not (place in computed or _keeps(text)):
                    _write_text(sheet, index, place, text)
                    continue
                value = float(text.replace(decimal, "."))
                if place in computed:
                    sheet.write_number(index, place, value)
                else:
                    shown = "0" + ("." + "0" * len(match[1]) if match[1] else "")
                    sheet.write_number(index, place, value, book.format(shown))


def _keeps(text: str) -> bool:
    """Whether a number of a workbook has room for all these digits."""
    return len(text.lstrip("-0.,")) <= _FLOAT_DIGITS


def workbook_of_cells(
    cells: BinaryIO,
    widths: Mapping[str, int],
    answer: Path,
    out: Path,
    hidden: Mapping[str, Hidden] | None = None,
) -> None:
    """Put the added columns of an answer beside the rows of typed cells that it is of, behind the
    last column of each sheet (``widths``).

    A cell keeps its kind, its number format and its place, and what is ``hidden`` in a sheet stays
    so; the row that is the header, which has
    no answer, gets the names of the columns. Raises `TableFileError`.
    """
    layout = header_of(answer)
    decimal = "," if layout.delimiter == ";" else "."
    with _Book(out) as book, answer.open(encoding="utf-8-sig", newline="") as file:
        rows = csv.reader(file, delimiter=layout.delimiter)
        names = next(rows)
        first = names.index(FIRST_ADDED)
        added = names[first:]
        kinds = {
            place: _FLAG if name == _FLAG else "number"
            for place, name in enumerate(added)
            if name == _FLAG or name in _NUMERIC
        }
        current = next(rows, None)
        cells.seek(0)
        spans: dict[str, deque[tuple[int, int]]] = {}
        # All sheets, so that they stand in their order and empty ones stay.
        for name in widths:
            of_sheet = (hidden or {}).get(name, Hidden())
            spans[name] = deque(of_sheet.rows)
            made = book.sheet(name)
            for start, end in of_sheet.columns:
                made.set_column(start - 1, end - 1, None, None, _HIDDEN)
        for line in cells:
            name, number, row = json.loads(line)
            sheet, index = book.sheet(name), number - 1
            _check_size(index, widths[name] + len(added))
            if _is_within(number, spans[name]):
                sheet.set_row(index, None, None, _HIDDEN)
            for place, cell in enumerate(row):
                if cell is not None:
                    _write_cell(book, sheet, index, place, cell)
            if current is None or (current[0], current[1]) != (name, str(number)):
                for place, text in enumerate(added, start=widths[name]):
                    sheet.write_string(index, place, text, book.bold)
                continue
            for place, text in enumerate(current[first:]):
                if text:
                    at = (index, widths[name] + place)
                    _write_added(sheet, *at, text, kinds.get(place), decimal)
            current = next(rows, None)
    if current is not None:
        raise TableFileError(f"the answer has a row {current[1]} that was not sent")


def _write_added(  # noqa: PLR0917 - as the library has it
    sheet: Any, index: int, place: int, text: str, kind: str | None, decimal: str
) -> None:
    if kind is None:
        _write_text(sheet, index, place, text)
    elif kind == _FLAG:
        sheet.write_boolean(index, place, text == "true")
    else:
        sheet.write_number(index, place, float(text.replace(decimal, ".")))


def _is_within(number: int, spans: deque[tuple[int, int]]) -> bool:
    """Whether a row lies in one of the spans, of which those before it are no longer needed."""
    while spans and spans[0][1] < number:
        spans.popleft()
    return bool(spans) and spans[0][0] <= number


def _write_cell(book: _Book, sheet: Any, index: int, place: int, cell: Any) -> None:
    if cell.__class__ is str:
        _write_text(sheet, index, place, cell)
    elif "n" in cell:
        shown = cell.get("format")
        if shown is None:
            sheet.write_number(index, place, float(cell["n"]))
        else:
            sheet.write_number(index, place, float(cell["n"]), book.format(shown))
    elif "t" in cell:
        _write_time(book, sheet, index, place, cell)
    elif "b" in cell:
        sheet.write_boolean(index, place, cell["b"])
    else:
        # An error, or a formula without a result: as text, for nothing here reckons.
        _write_text(sheet, index, place, cell.get("error") or cell.get("uncached", ""))


def _write_time(book: _Book, sheet: Any, index: int, place: int, cell: Any) -> None:
    value: date | time
    text = cell["t"]
    if "T" in text:
        value, shown = datetime.fromisoformat(text), _TIMES
    elif ":" in text:
        value, shown = time.fromisoformat(text), "hh:mm:ss"
    else:
        value, shown = date.fromisoformat(text), "yyyy-mm-dd"
    if isinstance(value, date) and value.year < 1900:
        _write_text(sheet, index, place, text)
    else:
        sheet.write_datetime(index, place, value, book.format(cell.get("format", shown)))


def _write_text(sheet: Any, index: int, place: int, text: str) -> None:
    # A sheet cannot hold everything that a text can.
    sheet.write_string(index, place, _NO_XML.sub("\ufffd", text[:_LONGEST]))


def _check_size(index: int, columns: int) -> None:
    if index >= MOST_ROWS or columns > MOST_COLUMNS:
        raise TableFileError(
            f"a sheet holds {MOST_ROWS:,} rows of {MOST_COLUMNS:,} columns, this table has more; "
            "write it as .csv"
        )
