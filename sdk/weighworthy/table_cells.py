"""Values of Python as typed cells of a table, as the service takes them."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from typing import Any, TypeAlias

# JSON values: see `cell_of`.
Cell: TypeAlias = Any
_FLOAT_DIGITS = 15
# The service takes shorter ones only.
_LONGEST_FORMAT = 200


def cell_of(value: Any, number_format: str | None = None) -> Cell:  # noqa: PLR0911 - one a kind
    """A value of Python as a typed cell: text, ``{"n", "format"}``, ``{"t", "format"}``, ``{"b"}``
    or None. A number format is kept where it says more than the value.

    Floats are written by their shortest digits, 15 at most: a spreadsheet shows no more.
    """
    if value is None or isinstance(value, str):
        return value or None
    if isinstance(value, bool):
        return {"b": value}
    if isinstance(value, datetime):
        return _time_cell(_instant(value), number_format)
    if isinstance(value, date):
        return _time_cell(value.isoformat(), number_format)
    if isinstance(value, time):
        precision = "milliseconds" if value.microsecond else "seconds"
        return _time_cell(value.isoformat(timespec=precision), number_format)
    if isinstance(value, timedelta):
        value = value / timedelta(days=1)
    text = number_text(value)
    if text is None:
        return {"error": str(value)}
    shown = _shows_number(number_format)
    return {"n": text} if shown == "General" else {"n": text, "format": shown}


def number_text(value: float | Decimal) -> str | None:
    """The shortest text of a number, without exponent; None: NaN or infinite."""
    if isinstance(value, int):
        return str(value)
    number = Decimal(repr(float(value))) if isinstance(value, float) else Decimal(value)
    if not number.is_finite():
        return None
    if isinstance(value, float):
        if len(number.as_tuple().digits) > _FLOAT_DIGITS:
            number = Decimal(format(float(value), f".{_FLOAT_DIGITS}g"))
        if number == number.to_integral_value():
            number = number.quantize(Decimal(1)) if abs(number) < 10**_FLOAT_DIGITS else number
    text = format(number, "f")
    return text if len(text) < 100 else None


def _shows_number(number_format: str | None) -> str:
    if number_format is None or len(number_format) < _LONGEST_FORMAT:
        return number_format or "General"
    # What counts of one that is too long to be sent: whether the number is shown a hundredfold.
    return "0.00%" if "%" in number_format else "General"


def _time_cell(text: str, number_format: str | None) -> Cell:
    shown = number_format is not None and _shows_time(number_format)
    return {"t": text, "format": number_format} if shown else {"t": text}


@cache
def _shows_time(number_format: str) -> bool:
    """Whether a number format is one for times, and one that can be handed on."""
    from openpyxl.styles.numbers import is_date_format  # noqa: PLC0415

    return (
        len(number_format) < _LONGEST_FORMAT
        and number_format.isprintable()
        and bool(is_date_format(number_format))
    )


def _instant(value: datetime) -> str:
    # A serial number of a spreadsheet is good to a few microseconds only.
    rounded = value + timedelta(microseconds=500)
    rounded = rounded.replace(microsecond=rounded.microsecond // 1000 * 1000)
    return rounded.isoformat(timespec="milliseconds" if rounded.microsecond else "seconds")
