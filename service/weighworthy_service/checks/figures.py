"""Numbers out of the answer of a check, exactly: the digits that stand in it are the number.

A trusted answer may lack any of them, and what is no number counts as lacking.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

# Beyond are no masses and losses: more digits than a quantity may have, or less than any atom.
_LARGEST: Final = 10**12
_SMALLEST: Final = Fraction(1, 10**15)


def figure(values: Mapping[str, Any], name: str) -> Fraction | None:
    """A number in the unit of its field; None: there is none."""
    value = values.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    if not -_LARGEST < value < _LARGEST:
        return None
    # The shortest text of a float has the digits of the answer; its binary value has not.
    exact = Fraction(str(value))
    return exact if abs(exact) >= _SMALLEST else Fraction(0)


def rows(values: Mapping[str, Any], name: str) -> Iterator[Mapping[str, Any]]:
    """The objects of a list, as of rounds or points."""
    found = values.get(name)
    if isinstance(found, list | tuple):
        yield from (row for row in found if isinstance(row, Mapping))
