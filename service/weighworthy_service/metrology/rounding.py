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


def rounded_ratio(numerator: int, denominator: int, digits: int) -> Decimal:
    """A ratio of whole numbers, half to even at `digits` significant digits."""
    return _context(digits, ROUND_HALF_EVEN).divide(Decimal(numerator), Decimal(denominator))


def _to_digits(value: Exact, digits: int, rounding: str) -> Decimal:
    context = _context(digits, rounding)
    if isinstance(value, float):
        # from_float: Decimal(float) would obey the FloatOperation trap of the calling script.
        return context.plus(Decimal.from_float(value))
    if isinstance(value, Decimal):
        return context.plus(value)
    return context.divide(Decimal(value.numerator), Decimal(value.denominator))


@cache
def _context(digits: int, rounding: str) -> Context:
    """Made once, as making it takes longer than rounding; a script's default traps do not count."""
    traps = [InvalidOperation, DivisionByZero, Overflow]
    return Context(prec=digits, rounding=rounding, traps=traps)
