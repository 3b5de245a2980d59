"""Mean, standard deviation and slope of repeated readings (JCGM 100:2008, 4.2 and H.3).

Sums are exact; only a root has no end. It is a decimal of 34 digits from its exact square, so that
a standard deviation that can be written down lies on a limit of the same figures, and inside.
"""

from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import Final, NamedTuple

from weighworthy_service.metrology.rounding import rounded, rounding_context

Exact = Decimal | Fraction

ROOT_DIGITS: Final = 34
_WORK: Final = rounding_context(2 * ROOT_DIGITS, ROUND_HALF_EVEN)


def mean(values: Sequence[Exact]) -> Fraction:
    """Their mean (4.2.1), in their unit; of at least one."""
    return sum((Fraction(value) for value in values), Fraction(0)) / len(values)


def variance(values: Sequence[Exact]) -> Fraction:
    """The estimate s² with n - 1 degrees of freedom (4.2.2); of at least two."""
    middle = mean(values)
    squares = (Fraction(value) - middle for value in values)
    return sum((off * off for off in squares), Fraction(0)) / (len(values) - 1)


def root(square: Fraction) -> Decimal:
    """The square root of what is not negative, to 34 digits, half to even."""
    wide = _WORK.divide(Decimal(square.numerator), Decimal(square.denominator))
    return rounded(_WORK.sqrt(wide), ROOT_DIGITS)


def standard_deviation(values: Sequence[Exact]) -> Decimal:
    """s of single values; of at least two."""
    return root(variance(values))


class Slope(NamedTuple):
    """Of the least-squares line through points (H.3.2), by exact fractions.

    `value`: in units of y by units of x; `residual`: the variance of y about the line, with n - 2
    degrees of freedom; None: two points leave none. `extent`: Σ(x - mean of x)².
    """

    value: Fraction
    residual: Fraction | None
    extent: Fraction


def slope(xs: Sequence[Exact], ys: Sequence[Exact]) -> Slope:
    """Of at least two points, not all at one x."""
    of_x, of_y = mean(xs), mean(ys)
    across = [Fraction(x) - of_x for x in xs]
    up = [Fraction(y) - of_y for y in ys]
    extent = sum((x * x for x in across), Fraction(0))
    value = sum((x * y for x, y in zip(across, up, strict=True)), Fraction(0)) / extent
    residual = None
    if len(xs) > 2:
        off = (y - value * x for x, y in zip(across, up, strict=True))
        residual = sum((e * e for e in off), Fraction(0)) / (len(xs) - 2)
    return Slope(value, residual, extent)
