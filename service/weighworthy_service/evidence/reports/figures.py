"""Numbers of an answer as people read them: in which unit, to which place, one below the other."""

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, Final

from weighworthy_service.evidence.reports.words import Words
from weighworthy_service.metrology.quantity import QuantityError, split_quantity

_FIGURE_SPACE, _MARK_SPACE = "\N{FIGURE SPACE}", "\N{PUNCTUATION SPACE}"
_MOST_PLACES: Final = 12
_DIGITS_OF_U: Final = 2


def decimal(value: Any) -> Decimal | None:
    """The number that stands in an answer, exactly; None: there is none."""
    return None if value is None else Decimal(repr(value))


def small(unit: str) -> tuple[str, int]:
    """The unit that errors are shown in, and the power of ten from that of the answer to it."""
    return ("mg", 3) if unit == "g" else (unit, 0)


def place_of(expanded: Decimal | None, value: Decimal, limits: Sequence[Decimal | None]) -> int:
    """To which place after the mark a value is shown.

    To that of the second digit of its expanded uncertainty; to more, where the value would
    otherwise seem to lie on a limit, or on its other side.
    """
    shortest = _places(value)
    if not expanded:
        return min(shortest, _MOST_PLACES)
    start = max(0, _DIGITS_OF_U - 1 - expanded.adjusted())
    for places in range(start, _MOST_PLACES):
        shown = to_place(value, places)
        if all(_compared(shown, end) == _compared(value, end) for end in limits if end is not None):
            return places
    return _MOST_PLACES


def to_place(value: Decimal, places: int) -> Decimal:
    """Rounded half to even."""
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def to_digits(value: Decimal, digits: int = 3) -> Decimal:
    """Rounded half to even to so many significant digits; with fewer it stays as it is."""
    if not value or len(value.normalize().as_tuple().digits) <= digits:
        return value.normalize()
    return to_place(value, digits - 1 - value.adjusted()).normalize()


def digits_of(words: Words, value: Any, power: int = 0, digits: int = 3, nothing: str = "") -> str:
    """A number of an answer times ten to a power, in so many significant digits; or `nothing`."""
    number = decimal(value)
    return nothing if number is None else words.number(to_digits(number.scaleb(power), digits))


def aligned(texts: Sequence[str]) -> list[str]:
    """The same texts with blanks behind, so that set flush right their marks stand in a line."""
    tails = [_tail(text) for text in texts]
    widest = max(tails, default=0)
    return [text + _blanks(widest, tail) for text, tail in zip(texts, tails, strict=True)]


def shares(rows: Sequence[Mapping[str, Any]]) -> list[float]:
    """What each row of a budget is of the squared standard uncertainty, from 0 to 1."""
    squares = [float(row["contribution"]) ** 2 for row in rows]
    whole = sum(squares)
    return [square / whole if whole else 0.0 for square in squares]


def quantity(words: Words, text: Any) -> str:
    """A measured value of a request, in the digits it was sent in."""
    try:
        number, unit = split_quantity(text, "12.003 g")
    except QuantityError:
        return str(text)
    unit = {"Cel": "°C", "ug": "µg"}.get(unit, unit)
    places = max(0, -int(number.as_tuple().exponent))
    return f"{words.number(number, places)}\N{NO-BREAK SPACE}{unit}"


def _places(value: Decimal) -> int:
    return max(0, -int(value.normalize().as_tuple().exponent))


def _compared(value: Decimal, end: Decimal) -> int:
    return (value > end) - (value < end)


def _tail(text: str) -> int:
    """How many digits stand behind the mark; a mark counts as one more."""
    at = max(text.rfind("."), text.rfind(","))
    return 0 if at < 0 else len(text) - at


def _blanks(widest: int, tail: int) -> str:
    missing = widest - tail
    if tail or not missing:
        return _FIGURE_SPACE * missing
    return _MARK_SPACE + _FIGURE_SPACE * (missing - 1)
