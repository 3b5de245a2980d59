"""What a mapping may fix about the table itself; whatever it leaves open is found out by rule."""

from dataclasses import dataclass
from typing import Final, Literal

Delimiter = Literal[";", ",", "\t", "|"]
DecimalMark = Literal[".", ","]
Thousands = Literal["space", "apostrophe", ".", ","]

DELIMITERS: Final[tuple[Delimiter, ...]] = (";", ",", "\t", "|")
DECIMAL_MARKS: Final[tuple[DecimalMark, ...]] = (".", ",")
# "space" is any of blank, no-break space, narrow no-break space and thin space.
THOUSANDS: Final[tuple[Thousands, ...]] = ("space", "apostrophe", ".", ",")

# A closed list: a codec of Python that is no character set of files (`punycode`) never gets in.
ENCODINGS: Final = (
    "utf-8",
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "cp1252",
    "iso-8859-1",
    "iso-8859-15",
    "cp437",
    "cp850",
    "cp1250",
    "cp1251",
    "mac-roman",
    "shift-jis",
    "gb18030",
)


@dataclass(frozen=True, slots=True)
class SkipRows:
    """Rows that are no checks, like means and totals, by the texts that a column has in them.

    Case and blanks around a text do not count.
    """

    column: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableSection:
    """Statements about the table, None where it is to be found out.

    Attributes:
        encoding: one of `ENCODINGS`.
        delimiter: one of `DELIMITERS`.
        decimal: the decimal mark of numbers written as text.
        thousands: what separates groups of three digits; never assumed.
        header_row: row with the names of the columns, from 1; 0 where the table has none and
            columns are addressed as "#1", "#2", ….
        sheet: the sheet of a workbook that holds the table.
        stop_at: a text in the first column that ends the table, like "Total".
        missing: texts that stand for an empty cell, like "---".
        skip: rows that are no checks.
    """

    encoding: str | None = None
    delimiter: Delimiter | None = None
    decimal: DecimalMark | None = None
    thousands: Thousands | None = None
    header_row: int | None = None
    sheet: str | None = None
    stop_at: str | None = None
    missing: tuple[str, ...] = ()
    skip: SkipRows | None = None


@dataclass(frozen=True, slots=True)
class TableLimits:
    """How large a table may be: records, columns, and characters of a cell and of a line."""

    rows: int = 2_000_000
    columns: int = 500
    cell: int = 32 * 1024
    line: int = 1024 * 1024
