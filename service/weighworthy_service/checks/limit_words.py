"""Limits and names in words, small masses in mg as they are talked of; plain minus signs."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.rounding import rounded

_SMALL = Fraction(1, 10)


def limits_text(lower: Decimal | None, upper: Decimal | None, unit: str) -> str:
    """Both sides of a limit, masses given in g, losses in %; None: no limit on that side."""
    if lower is None and upper is None:
        return "without limit"
    if lower is None or upper is None:
        one, word = (upper, "at most") if lower is None else (lower, "at least")
        return f"{word} {_amount(one or Decimal(0), unit, sign=True)}"
    if lower == upper.copy_negate():
        return f"within {_amount(upper, unit, sign=False)}"
    return f"from {_amount(lower, unit, sign=True)} to {_amount(upper, unit, sign=True)}"


def amount_text(value: Decimal, unit: str) -> str:
    """A mass given in g, or a loss in %, with its unit."""
    return _amount(value, unit, sign=False)


def listed(names: Sequence[str]) -> str:
    """Names in a sentence."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _amount(value: Decimal, unit: str, *, sign: bool) -> str:
    exact = Fraction(value)
    if unit == "g" and exact and abs(exact) < _SMALL:
        exact, unit = 1000 * exact, "mg"
    shown = f"{EXACT.normalize(rounded(exact, 10)):f}"
    return f"{'+' if sign and exact > 0 else ''}{shown} {unit}"
