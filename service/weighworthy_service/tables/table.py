"""A table as it turned out to be, and its rows: as often as wanted, in constant memory."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from weighworthy_service.tables.cells import (
    SHOWN_LENGTH,
    AnyRow,
    BadRow,
    Cell,
    SkippedRow,
    is_empty,
    shown,
)
from weighworthy_service.tables.header import name_key
from weighworthy_service.tables.numbers import Marks

_WHOLE: Final = re.compile(r"\s*[-+\u2212]?[0-9]+")
# With a unit behind it, at most.
_DIGITS: Final = re.compile(r"[0-9]+\s*[^\W\d]{0,3}\s*")


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the table lies among the rows of a file.

    Attributes:
        sheet: None in a CSV file.
        header_row: 0 where the table has none.
        header: the cells of that row; as many as the table has columns.
        probe: index of a wanted column, by which a repeated header is known.
        stop_at: text in the first column that ends the table.
        skip: index of a column, and texts of it, casefolded, by which a row is no check.
        delimiter: None in a workbook.
        numbers: indexes of the columns that hold numbers.
    """

    sheet: str | None
    header_row: int
    header: Sequence[Cell]
    probe: int = 0
    stop_at: str | None = None
    skip: tuple[int, frozenset[str]] | None = None
    delimiter: str | None = None
    numbers: Sequence[int] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """An opened table.

    Attributes:
        read_as: `encoding`, `delimiter`, `decimal`, `thousands`, `header_row` and `sheet`; which of
            them the mapping stated (`stated`), and which nothing in the file decided (`assumed`).
            The others were found in the file.
        header: names of the columns; "" for a nameless one.
        columns: index of each wanted column by the name it was asked for with.
        marks: how its numbers are written.
        count: how many rows `rows` gives: all but the header row.
    """

    read_as: Mapping[str, Any]
    header: tuple[str, ...]
    columns: Mapping[str, int]
    marks: Marks
    count: int
    _rows: Callable[[], Iterator[AnyRow]]

    def rows(self) -> Iterator[AnyRow]:
        """Every row but the header row, in order; one iteration at a time, for they share the file.

        A row of cells has as many as the header. Rows that hold no check by their place or look
        come as `SkippedRow`, those that cannot be read as `BadRow`.
        """
        return self._rows()


def framed(rows: Iterator[AnyRow], frame: Frame) -> Iterator[AnyRow]:
    """The rows of a file as rows of the table in it."""
    sheet = frame.sheet
    yield from _above(rows, frame)
    width, probe, skip = len(frame.header), frame.probe, frame.skip
    title = frame.header[probe] if frame.header_row else None
    title_key = _keys(frame.header)
    stop = None if frame.stop_at is None else name_key(frame.stop_at)
    ended = False
    for row in rows:
        if row.__class__ is not tuple:
            yield row
            continue
        of, number, cells = row
        if of != sheet:
            yield SkippedRow(of, number, "other-sheet", cells)
            continue
        head = cells[0] if cells else None
        if (not head or (head.__class__ is str and head.isspace())) and all(map(is_empty, cells)):
            yield SkippedRow(sheet, number, "blank", cells)
            continue
        if stop is not None and (ended or (isinstance(head, str) and name_key(head) == stop)):
            ended = True
            yield SkippedRow(sheet, number, "after-end", cells)
            continue
        if len(cells) != width:
            if (odd := _odd(number, cells, frame)) is not None:
                yield odd
                continue
            del cells[width:]
            cells.extend([None if sheet else ""] * (width - len(cells)))
        if skip is not None and shown(cells[skip[0]]).strip().casefold() in skip[1]:
            yield SkippedRow(sheet, number, "no-check", cells)
            continue
        if cells[probe] == title and _keys(cells) == title_key:
            yield SkippedRow(sheet, number, "header", cells)
            continue
        yield row


def _above(rows: Iterator[AnyRow], frame: Frame) -> Iterator[AnyRow]:
    """The rows before the header row; the header row itself is left out."""
    if not frame.header_row:
        return
    for row in rows:
        if isinstance(row, BadRow | SkippedRow):
            yield row
            continue
        sheet, number, cells = row
        if sheet != frame.sheet:
            yield SkippedRow(sheet, number, "other-sheet", cells)
        elif number >= frame.header_row:
            return
        else:
            blank = all(map(is_empty, cells))
            yield SkippedRow(sheet, number, "blank" if blank else "title", cells)


def _keys(cells: Sequence[Cell]) -> list[str]:
    return [name_key(shown(cell)) for cell in cells]


def _odd(number: int, cells: list[Cell], frame: Frame) -> AnyRow | None:
    """What a row is that has not as many cells as the header; None: a row of the table."""
    width = len(frame.header)
    if len(cells) == 1 and _is_whole_row(cells[0], width, frame.delimiter):
        return _in_quotes(number, cells)
    if all(map(is_empty, cells[width:])):
        wide = len(cells) > width and frame.delimiter == ","
        return _too_wide(number, cells, width) if wide and _is_parted(cells, frame) else None
    if frame.sheet is None:
        return _too_wide(number, cells, width)
    # Beside the table, where a workbook says for sure in which column a cell is.
    beside = all(map(is_empty, cells[:width]))
    return SkippedRow(frame.sheet, number, "blank", cells[:width]) if beside else None


def _is_whole_row(cell: Cell, width: int, delimiter: str | None) -> bool:
    """Whether the only cell of a row holds as many delimiters as a row: quoted, or it could not."""
    return delimiter is not None and isinstance(cell, str) and cell.count(delimiter) >= width - 1


def _is_parted(cells: Sequence[Cell], frame: Frame) -> bool:
    """Whether a number and the cell behind it may be one with a comma, in a row that is wider than
    the header: by that alone, if its last cell is empty."""
    return any(
        _WHOLE.fullmatch(shown(cells[at])) and _DIGITS.fullmatch(shown(cells[at + 1]))
        for at in frame.numbers
    )


def _in_quotes(number: int, cells: list[Cell]) -> BadRow:
    detail = (
        "quotation marks stand around the whole row, which makes one cell of it: take them out, "
        "and one of each two within"
    )
    return BadRow(None, number, "row-in-quotes", detail, shown(cells[0])[:SHOWN_LENGTH], cells)


def _too_wide(number: int, cells: list[Cell], width: int) -> BadRow:
    detail = f"the row has {len(cells)} cells, the header {width}: a delimiter inside a cell?"
    text = " | ".join(shown(cell) for cell in cells[:20])
    return BadRow(None, number, "too-many-cells", detail, text[:SHOWN_LENGTH], cells)
