"""Rounding of exact values, each rule under its name."""

from decimal import (
    ROUND_HALF_EVEN,
    ROUND_UP,
    Context,
    Decimal,
    DivisionByZero,
    InvalidOperation,
    Overflow,
)
from fractions import Fraction
from functools import cache
from math import floor, log10

Exact = Decimal | Fraction | float


def rounded(value: Exact, digits: int) -> Decimal:
    """Half to even at `digits` significant digits; a float counts with its exact binary value."""
    return _to_digits(value, digits, ROUND_HALF_EVEN)


def rounded_up(value: Exact, digits: int) -> Decimal:
    """Away from zero at `digits` significant digits: an uncertainty is never understated."""
    return _to_digits(value, digits, ROUND_UP)


def rounded_to_place(value: Exact, place: Decimal) -> Fraction:
    """Half to even at a multiple of `place` (the rounding method of ASTM E29, from memory)."""
    step = Fraction(place)
    return round(Fraction(value) / step) * step


def nearest_float(numerator: int, denominator: int, digits: int) -> float:
    """The float of an exact ratio that is rounded half to even at up to 15 significant digits.

    The same as that of `rounded`, for a fraction of its time. `denominator`: above zero.
    """
    size = abs(numerator)
    if not size:
        return 0.0
    places = digits - 1 - floor(log10(size) - log10(denominator))
    # A logarithm beside a power of ten may be off by one, either way.
    least = 10 ** (digits - 1)
    while True:
        scale = 10 ** abs(places)
        over = denominator if places >= 0 else denominator * scale
        whole, rest = divmod(size * scale if places >= 0 else size, over)
        if whole < least:
            places += 1
        elif whole >= 10 * least:
            places -= 1
        else:
            break
    rest *= 2
    if rest > over or (rest == over and whole & 1):
        whole += 1
    # Whole numbers divide into the nearest float.
    found = whole / scale if places >= 0 else float(whole * scale)
    return found if numerator > 0 else -found


def rounding_context(digits: int, rounding: str) -> Context:
    """For code that rounds very often: making a context takes longer than rounding.

    The default traps of a calling script do not count.
    """
    traps = [InvalidOperation, DivisionByZero, Overflow]
    return Context(prec=digits, rounding=rounding, traps=traps)


_context = cache(rounding_context)


def _to_digits(value: Exact, digits: int, rounding: str) -> Decimal:
    context = _context(digits, rounding)
    if isinstance(value, float):
        # from_float: Decimal(float) would obey the FloatOperation trap of the calling script.
        return context.plus(Decimal.from_float(value))
    if isinstance(value, Decimal):
        return context.plus(value)
    return context.divide(Decimal(value.numerator), Decimal(value.denominator))
