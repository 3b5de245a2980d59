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
