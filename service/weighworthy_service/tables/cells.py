"""Cells and rows as a table holds them, before anybody asks what they mean.

A cell of a CSV file is a `str`. A workbook knows more, and its cells say so: a number with the
format it is shown in, a time, a flag, an error, a formula whose result was never stored. Empty is
None or "".
"""

from dataclasses import dataclass
from typing import Final, Literal


@dataclass(frozen=True, slots=True)
class NumberCell:
    """A number of a workbook: its shortest text with a decimal point, and its number format."""

    text: str
    format: str = "General"


@dataclass(frozen=True, slots=True)
class TimeCell:
    """A date, a time of day or both, as ISO 8601 text; a workbook knows no offset to UTC."""

    text: str


@dataclass(frozen=True, slots=True)
class ErrorCell:
    """What a spreadsheet shows in place of a result, like `#N/A`."""

    text: str


@dataclass(frozen=True, slots=True)
class UncachedCell:
    """A formula that came without the result it had."""

    formula: str


Cell = str | None | NumberCell | TimeCell | bool | ErrorCell | UncachedCell

# (sheet, row, cells): a plain tuple, because millions of them are made. The sheet of a CSV file is
# None. Rows count from 1 as a spreadsheet program shows the file: blank and title rows count, and a
# cell with line breaks in it is still part of one row.
Row = tuple[str | None, int, list[Cell]]

SkipReason = Literal["title", "blank", "header", "after-end", "other-sheet", "no-check"]


@dataclass(frozen=True, slots=True)
class SkippedRow:
    """A row that holds no check by its place or look; it is handed on so that none vanishes."""

    sheet: str | None
    number: int
    reason: SkipReason
    cells: list[Cell]


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that cannot be told apart into the cells of the table; `text` is its beginning.

    `cells` are those that it has all the same, None where it has none.
    """

    sheet: str | None
    number: int
    code: str
    detail: str
    text: str
    cells: list[Cell] | None = None


AnyRow = Row | SkippedRow | BadRow

SHOWN_LENGTH: Final = 200


class CellFault(ValueError):  # noqa: N818 - the fault of a cell is part of a result
    """A cell that is not what the mapping says: `code` for programs, `detail` for people."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail


@dataclass(frozen=True, slots=True)
class TableFault:
    """What is wrong with a table as a whole, and where it shows.

    `there`: the names of its columns, where a name that was asked for is none of them; None for
    every other fault.
    """

    code: str
    detail: str
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    cell: str | None = None
    there: tuple[str, ...] | None = None


class TableNotUsable(Exception):  # noqa: N818 - named like the problem that is answered
    """The table cannot be read as a whole; `errors` say why, each with what to do about it."""

    def __init__(self, *errors: TableFault) -> None:
        super().__init__("; ".join(error.detail for error in errors))
        self.errors = errors


def is_empty(cell: Cell) -> bool:
    """Whether nothing is written in the cell; blanks are nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def shown(cell: Cell) -> str:
    """The cell as a person sees it, cut to a length that fits a message."""
    match cell:
        case None:
            text = ""
        case bool():
            text = "TRUE" if cell else "FALSE"
        case NumberCell() | TimeCell() | ErrorCell():
            text = cell.text
        case UncachedCell():
            text = cell.formula
        case _:
            text = cell
    return text if len(text) <= SHOWN_LENGTH else text[: SHOWN_LENGTH - 1] + "…"
