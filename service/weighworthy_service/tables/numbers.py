"""Cells that hold numbers with units, into the texts of a request or straight into decimals.

The grammar is our own, because what languages take for a number is too much (`1_000`, `１２`,
`inf`) and too little (`1 234,5`, `12,5 %`): ASCII digits, one decimal mark, groups of three only
where the mapping states them, a minus in front, no plus, no exponent.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Final

from weighworthy_service.metrology.quantity import (
    EXACT,
    MAX_FRACTION_DIGITS,
    MAX_INTEGER_DIGITS,
    UNITS,
    QuantityError,
    in_quanta,
    read_quantity,
)
from weighworthy_service.tables.cells import Cell, CellFault, NumberCell, TimeCell, shown
from weighworthy_service.tables.no_number import ANY_GROUP, why_no_number
from weighworthy_service.tables.number_formats import shows
from weighworthy_service.tables.table_section import DecimalMark, Thousands
from weighworthy_service.tables.written import written

_GROUPS: Final[dict[Thousands, str]] = {
    "space": "[ \u00a0\u202f\u2009]",
    "apostrophe": "['’]",
    ".": r"\.",
    ",": ",",
}
_STORED: Final = re.compile(r"-?[0-9]{1,40}(\.[0-9]{1,40})?([eE][+-]?[0-9]{1,3})?")
# A workbook stores binary numbers and shows 15 digits of them; what follows is their noise.
_FIFTEEN: Final = Context(prec=15, rounding=ROUND_HALF_EVEN)


@dataclass(frozen=True, slots=True)
class Marks:
    """How the numbers of a table are written, and which texts stand for an empty cell."""

    decimal: DecimalMark = "."
    thousands: Thousands | None = None
    missing: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.decimal == self.thousands:
            raise ValueError("decimal mark and thousands separator are the same")


def quantity_texts(
    dimension: str, unit: str | None, marks: Marks, decimals: int | None = None
) -> Callable[[Cell], str | None]:
    """A reader that gives `"12.0034 g"`, or None where the cell is empty.

    Args:
        dimension: a key of `metrology.quantity.UNITS`.
        unit: unit of the column; a cell may write another of the same dimension. None: every cell
            must write its own.
        marks: as found or stated for the table.
        decimals: number of decimals that every number has; restores the trailing zeros that a
            workbook has dropped.

    The reader raises `CellFault`.
    """
    number = _number_reader(marks, decimals)
    units = UNITS[dimension]
    plain = _plain_reader(marks, decimals) if unit in units else None
    ending = f" {unit}"

    def read(cell: Cell) -> str | None:
        quick = plain(cell) if plain and isinstance(cell, str) else None
        if quick is not None:
            return f"{quick[0]}.{quick[1]}{ending}"
        found = number(cell)
        if found is None:
            return None
        text, own = found
        if own is not None and unit is not None and isinstance(cell, NumberCell):
            _check_same(cell, own, unit, units)
        if own is None and unit is not None:
            return text + ending
        return f"{text} {_checked_unit(own, unit, units)}"

    return read


def quantity_values(
    dimension: str, unit: str | None, marks: Marks, decimals: int | None = None
) -> Callable[[Cell], int | None]:
    """Like `quantity_texts`, but gives what `read_quantity` makes of that text, for a fraction of
    the time where the cell is plain: a whole number of the base unit over `QUANTA`."""
    texts = quantity_texts(dimension, unit, marks, decimals)
    digits = _plain_reader(marks, decimals)
    factor = UNITS[dimension].get(unit or "")
    # By the number of decimals that a cell has.
    scales = (
        [in_quanta(EXACT.scaleb(factor, -places)) for places in range(MAX_FRACTION_DIGITS + 1)]
        if factor
        else []
    )

    def read(cell: Cell) -> int | None:
        quick = digits(cell) if scales and cell.__class__ is str else None
        if quick is not None:
            whole, fraction = quick
            return int(whole + fraction) * scales[len(fraction)]
        text = texts(cell)
        if text is None:
            return None
        try:
            return in_quanta(read_quantity(text, dimension))
        except QuantityError as error:
            raise CellFault(error.code, error.detail) from None

    return read


def _plain_reader(marks: Marks, decimals: int | None) -> Callable[[str], tuple[str, str] | None]:
    """Reads a cell of nothing but digits around one decimal mark, which nearly all are, as those
    before it and those behind; None for any other, right or wrong."""
    mark, missing = marks.decimal, marks.missing
    longest = MAX_FRACTION_DIGITS if decimals is None else min(decimals, MAX_FRACTION_DIGITS)
    shortest = 1 if decimals is None else decimals

    def read(cell: str) -> tuple[str, str] | None:
        whole, _, fraction = cell.partition(mark)
        if (
            whole.isdigit()
            and fraction.isdigit()
            and cell.isascii()
            and len(whole) <= MAX_INTEGER_DIGITS
            and shortest <= len(fraction) <= longest
            and cell not in missing
        ):
            return whole, fraction
        return None

    return read


def number_texts(marks: Marks, decimals: int | None = None) -> Callable[[Cell], str | None]:
    """A reader of pure numbers, like a coverage factor: `"2.05"`, without a unit."""
    number = _number_reader(marks, decimals)

    def read(cell: Cell) -> str | None:
        found = number(cell)
        if found is None:
            return None
        text, unit = found
        if unit is not None:
            raise CellFault("unit-not-taken", f"a number without a unit is needed, not {unit!r}")
        return text

    return read


def decimals(marks: Marks) -> Callable[[Cell], Decimal | None]:
    """A reader of pure numbers with more digits than a request takes, like the serial number of a
    day."""
    number = _number_reader(marks, None, bounds=(40, 40))

    def read(cell: Cell) -> Decimal | None:
        found = number(cell)
        if found is None:
            return None
        if found[1] is not None:
            raise CellFault("unit-not-taken", "a number without a unit is needed")
        return Decimal(found[0])

    return read


def counts(marks: Marks) -> Callable[[Cell], int | None]:
    """A reader of whole numbers."""
    number = number_texts(marks)

    def read(cell: Cell) -> int | None:
        text = number(cell)
        if text is None:
            return None
        whole, _, fraction = text.partition(".")
        if fraction.strip("0"):
            raise CellFault("number-malformed", f"a whole number is needed, not {text}")
        return int(whole)

    return read


def _checked_unit(own: str | None, unit: str | None, units: dict[str, Decimal]) -> str:
    taken = ", ".join(units)
    if own is None:
        raise CellFault(
            "unit-missing",
            f"neither the cell nor the column names a unit; state one in the mapping: {taken}",
        )
    if own not in units:
        instead = f", the column is in {unit}" if unit else ""
        raise CellFault("unit-not-taken", f"the unit {own[:16]!r} is not taken{instead}: {taken}")
    return own


def _check_same(cell: NumberCell, own: str, unit: str, units: dict[str, Decimal]) -> None:
    """A format that shows another unit than the column has leaves open what was stored."""
    if own != "%" and units.get(own) != units[unit]:
        raise CellFault(
            "unit-differs",
            f"the cell shows {cell.text} in {own!r} by its number format {cell.format[:40]!r}, "
            f"the column is in {unit!r}: nothing tells which of the two is meant",
        )


def _number_reader(
    marks: Marks,
    places: int | None,
    bounds: tuple[int, int] = (MAX_INTEGER_DIGITS, MAX_FRACTION_DIGITS),
) -> Callable[[Cell], tuple[str, str | None] | None]:
    """Gives number (decimal point, no groups) and the unit that the cell itself writes."""
    group = _GROUPS[marks.thousands] if marks.thousands else None
    whole = f"[0-9]{{1,3}}(?:{group}[0-9]{{3}})+|[0-9]+" if group else "[0-9]+"
    pattern = re.compile(
        rf"([-−]?)({whole})(?:{re.escape(marks.decimal)}([0-9]+))?(?:\s*((?:[^\W\d_]|[%°]).*))?",
        re.DOTALL,
    )
    match = pattern.fullmatch

    def read(cell: Cell) -> tuple[str, str | None] | None:
        if isinstance(cell, NumberCell):
            text, unit = _stored_number(cell)
            return _with_decimals(_bounded(text, bounds), places), unit
        if isinstance(cell, TimeCell | bool):
            raise CellFault(
                "number-malformed",
                "the cell holds a date or time, not a number: a spreadsheet program may have "
                "taken the number for one"
                if isinstance(cell, TimeCell)
                else f"the cell holds {shown(cell)}, not a number",
            )
        stated = written(cell, marks.missing)
        if stated is None:
            return None
        found = match(stated)
        if found is None:
            raise CellFault(*why_no_number(stated, marks.decimal))
        sign, integer, fraction, unit = found.groups()
        if group and not integer.isdigit():
            integer = ANY_GROUP.sub("", integer)
        if unit and re.match(r"[eE][+-]?[0-9]", unit):
            raise CellFault("number-malformed", "write all digits, no exponent")
        text = f"{'-' if sign else ''}{integer}{'.' + fraction if fraction else ''}"
        return _with_decimals(_bounded(text, bounds), places), unit

    return read


def _bounded(text: str, bounds: tuple[int, int]) -> str:
    whole, _, fraction = text.removeprefix("-").partition(".")
    if len(whole) > bounds[0] or len(fraction) > bounds[1]:
        raise CellFault(
            "number-too-long",
            f"at most {bounds[0]} digits before the decimal mark and {bounds[1]} after it",
        )
    return text


def _with_decimals(text: str, decimals: int | None) -> str:
    if decimals is None:
        return text
    whole, _, fraction = text.partition(".")
    if len(fraction) > decimals:
        if fraction[decimals:].strip("0"):
            raise CellFault(
                "too-many-decimals", f"{text} has more than the {decimals} decimals stated"
            )
        fraction = fraction[:decimals]
    return f"{whole}.{fraction:0<{decimals}}" if decimals else whole


def _stored_number(cell: NumberCell) -> tuple[str, str | None]:
    if not _STORED.fullmatch(cell.text):
        raise CellFault("number-malformed", f"{cell.text[:40]!r} is not the number of a cell")
    number = Decimal(cell.text)
    if not -40 <= number.adjusted() <= 40:
        # Written out, such a number would be as long as its exponent is large.
        raise CellFault("number-too-long", f"{cell.text} is out of any reasonable range")
    if len(number.as_tuple().digits) > 15:
        number = _FIFTEEN.plus(number).normalize(_FIFTEEN)
    shown_as = shows(cell.format, int(number.compare(0)))
    if shown_as.divided > 1:
        raise CellFault(
            "format-divides",
            f"the number format {cell.format[:40]!r} shows {cell.text} divided by "
            f"{shown_as.divided}: nothing tells which of the two is meant",
        )
    if shown_as.percent:
        return f"{EXACT.scaleb(number, 2):f}", "%"
    return f"{number:f}", shown_as.unit
