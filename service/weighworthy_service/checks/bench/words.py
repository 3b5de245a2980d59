"""How a bench card writes masses, displays and weights."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.limit_words import listed
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.rounding import rounded
from weighworthy_service.metrology.weights import ReferenceWeight


def amount(value: Decimal | Fraction, unit: str) -> str:
    """A number as people write it with its unit."""
    digits = EXACT.normalize(rounded(value, 15))
    return f"{digits:f} {unit}"


def on_display(value: Decimal, step: Decimal, unit: str) -> str:
    """A multiple of the step in the digits of the display."""
    places = max(0, -int(EXACT.normalize(step).as_tuple().exponent))
    return f"{value.copy_abs() if value == 0 else value:.{places}f} {unit}"


def named(weights: Sequence[ReferenceWeight]) -> str:
    """Weights by name, with their nominal mass."""
    total = amount(sum((Fraction(w.nominal) for w in weights), Fraction(0)), "g")
    return f"{listed([w.name for w in weights])} ({total}{' together' if len(weights) > 1 else ''})"


def tared(step: Decimal) -> str:
    """The first step of a check."""
    zero = on_display(Decimal(0), step, "g")
    return f"Pan empty: tare. The display must show {zero}; if not, tare again."
