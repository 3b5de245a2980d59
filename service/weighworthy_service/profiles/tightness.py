"""Is one limit as tight as another, whatever balance and load they are applied to?

Each function answers True only where that is certain; what depends on the balance (2 d against
1 mg) is not.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from weighworthy_service.metrology.limits import Amount, Limit


@dataclass(frozen=True, slots=True)
class _Reach:
    """How far a limit reaches to one side: an amount, the least or the greatest of parts, or ∞."""

    kind: Literal["amount", "min", "max", "open"]
    amount: Amount | None = None
    parts: tuple["_Reach", ...] = ()


_OPEN: Final = _Reach("open")


def as_tight(limit: Limit, other: Limit, *, rounding: bool = False) -> bool:
    """Whether `limit` lies within `other` for every balance and load, and is judged as often.

    `rounding`: values may be rounded to the limits' own last digits before they are compared, so
    that fewer digits mean a looser limit.
    """
    if limit.when_present and not other.when_present:
        return False
    return _within(limit, other, rounding)


def _within(limit: Limit, other: Limit, rounding: bool) -> bool:
    if _is_void(limit) or _is_void(other):
        return _is_void(limit)
    if other.bands:
        return bool(limit.bands) and _banded_within(limit, other, rounding)
    if limit.bands:
        # Above its last band a check is void, which is tighter than any limit.
        return all(_within(band.limit, other, rounding) for band in limit.bands)
    return _le(_reach(limit, _up), _reach(other, _up), rounding) and _le(
        _reach(limit, _down), _reach(other, _down), rounding
    )


def _is_void(limit: Limit) -> bool:
    """Whether it is the limit of a band in which a check is void: nothing is tighter."""
    sides = (limit.within, limit.lower, limit.upper)
    return all(side is None for side in sides) and not (
        limit.smaller_of or limit.larger_of or limit.bands
    )


def _banded_within(limit: Limit, other: Limit, rounding: bool) -> bool:
    """Every band against every band of the other that could hold one of its loads."""
    if not _amount_le(limit.bands[-1].up_to, other.bands[-1].up_to):
        return False
    for i, band in enumerate(limit.bands):
        for j, wider in enumerate(other.bands):
            below = j > 0 and _amount_le(band.up_to, other.bands[j - 1].up_to)
            above = i > 0 and _amount_le(wider.up_to, limit.bands[i - 1].up_to)
            if not (below or above or _within(band.limit, wider.limit, rounding)):
                return False
    return True


def _up(limit: Limit) -> Amount | None:
    return limit.upper


def _down(limit: Limit) -> Amount | None:
    return None if limit.lower is None else Amount(-limit.lower.number, limit.lower.unit)


def _reach(limit: Limit, side: Callable[[Limit], Amount | None]) -> _Reach:
    if limit.within is not None:
        return _Reach("amount", limit.within)
    if limit.smaller_of:
        return _Reach("min", parts=tuple(_reach(part, side) for part in limit.smaller_of))
    if limit.larger_of:
        return _Reach("max", parts=tuple(_reach(part, side) for part in limit.larger_of))
    amount = side(limit)
    return _OPEN if amount is None else _Reach("amount", amount)


def _le(one: _Reach, other: _Reach, rounding: bool) -> bool:
    """Whether `one` certainly reaches no farther than `other`."""
    if other.kind == "open":
        return True
    if one.kind == "max":
        return all(_le(part, other, rounding) for part in one.parts)
    if other.kind == "min":
        return all(_le(one, part, rounding) for part in other.parts)
    if one.amount is not None and other.amount is not None:
        finer = not rounding or _place(one.amount) <= _place(other.amount)
        return finer and _amount_le(one.amount, other.amount)
    # The least of several reaches no farther than any of them, the greatest no less far.
    smaller = one.parts if one.kind == "min" else ()
    larger = other.parts if other.kind == "max" else ()
    return any(_le(part, other, rounding) for part in smaller) or any(
        _le(one, part, rounding) for part in larger
    )


def _amount_le(one: Amount, other: Amount) -> bool:
    """Whether an amount is certainly not above another: units are positive on every balance."""
    if one.dimension == other.dimension != "relative":
        return one.base <= other.base
    if one.unit == other.unit:
        return one.number <= other.number
    return one.number <= 0 <= other.number


def _place(amount: Amount) -> Decimal:
    """Size of the last written digit of an absolute amount; relative ones have none."""
    return amount.place or Decimal(0)
