"""Limits in the forms the trade writes them, and their value for one load on one balance.

Masses in g, losses in % (percentage points), differences of temperature in K, times in s.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.quantity import (
    EXACT,
    NUMBER_PATTERN,
    UNITS,
    QuantityError,
    split_quantity,
)

# Of the value of a criterion: base units of the dimensions that limits are stated in.
CriterionUnit = Literal["g", "%", "K", "s"]
CRITERION_UNITS: Final[tuple[CriterionUnit, ...]] = ("g", "%", "K", "s")

Dimension = Literal["mass", "share", "temperature_difference", "time", "relative"]
_ABSOLUTE: Final[tuple[Dimension, ...]] = ("mass", "share", "temperature_difference", "time")
# Each unit of an absolute amount: its dimension, base unit and size in that.
_SIZES: Final[dict[str, tuple[Dimension, CriterionUnit, Decimal]]] = {
    unit: (dimension, base, size)
    for dimension, base in zip(_ABSOLUTE, CRITERION_UNITS, strict=True)
    for unit, size in UNITS[dimension].items()
}

RELATIVE_UNITS: Final = ("d", "e", "% of load", "% of capacity")
AMOUNT_UNITS: Final = (*_SIZES, *RELATIVE_UNITS)
_EXAMPLE: Final = "1.5 mg"


@dataclass(frozen=True, slots=True)
class Amount:
    """A number as written with its unit: "1.5 mg", "2 d", "0.05 %", "0.1 % of load"."""

    number: Decimal
    unit: str

    @property
    def dimension(self) -> Dimension:
        """Which kinds of criterion the amount can limit by itself."""
        return _SIZES[self.unit][0] if self.unit in _SIZES else "relative"

    @property
    def base_unit(self) -> CriterionUnit | None:
        """The unit of criteria that it limits without a balance; None: a relative amount."""
        return _SIZES[self.unit][1] if self.unit in _SIZES else None

    @property
    def base(self) -> Decimal:
        """An absolute amount in its base unit."""
        return EXACT.multiply(self.number, _SIZES[self.unit][2])

    @property
    def place(self) -> Decimal | None:
        """The last written digit of an absolute amount in its base unit, to which ASTM E29 rounds;
        None: a relative amount."""
        if self.unit not in _SIZES:
            return None
        last = Decimal(1).scaleb(int(self.number.as_tuple().exponent))
        return EXACT.multiply(last, _SIZES[self.unit][2])

    def __str__(self) -> str:
        return f"{self.number} {self.unit}"


@dataclass(frozen=True, slots=True)
class Basis:
    """What relative amounts refer to: nominal load on the pan in g (None: no one load), balance.

    For a loss, counts of d and e are referred to the initial load, in percentage points.
    """

    instrument: Instrument
    load: Decimal | None
    unit: CriterionUnit


@dataclass(frozen=True, slots=True)
class Interval:
    """Tolerance interval; None: no limit on that side. Places: the last digit of each limit."""

    lower: Fraction | None = None
    upper: Fraction | None = None
    lower_place: Decimal | None = None
    upper_place: Decimal | None = None


class NotResolvedError(ValueError):
    """A relative limit needs a value that the request does not state (`field` of instrument)."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


@dataclass(frozen=True, slots=True)
class Band:
    """A limit for loads up to and including `up_to`."""

    up_to: Amount
    limit: "Limit"


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit in one form: two-sided `within`, `lower`/`upper`, the smaller or larger, or bands."""

    within: Amount | None = None
    lower: Amount | None = None
    upper: Amount | None = None
    smaller_of: tuple["Limit", ...] = ()
    larger_of: tuple["Limit", ...] = ()
    bands: tuple[Band, ...] = ()
    when_present: bool = False
    source: str | None = None

    def amounts(self) -> Iterable[Amount]:
        """Every amount in the limit, band ends excluded."""
        yield from (a for a in (self.within, self.lower, self.upper) if a is not None)
        for part in (*self.smaller_of, *self.larger_of, *(band.limit for band in self.bands)):
            yield from part.amounts()

    def at(self, basis: Basis) -> Interval | None:
        """The tolerance interval, or None above the last band or with neither side limited.

        Raises:
            NotResolvedError: e, capacity or the load is needed and not known.
        """
        if self.within is not None:
            size = _value(self.within, basis)
            return Interval(-size, size, self.within.place, self.within.place)
        if self.lower is not None or self.upper is not None:
            return Interval(
                None if self.lower is None else _value(self.lower, basis),
                None if self.upper is None else _value(self.upper, basis),
                None if self.lower is None else self.lower.place,
                None if self.upper is None else self.upper.place,
            )
        if self.bands:
            return self._band(basis)
        return self._chosen(basis)

    def _band(self, basis: Basis) -> Interval | None:
        if basis.load is None:
            raise NotResolvedError("load")
        for band in self.bands:
            # The upper end belongs to the lower band.
            if basis.load <= _number(band.up_to, basis):
                return band.limit.at(basis)
        return None

    def _chosen(self, basis: Basis) -> Interval | None:
        parts = [limit.at(basis) for limit in self.smaller_of or self.larger_of]
        intervals = [part for part in parts if part is not None]
        if len(intervals) < len(parts):
            return None
        lowers = [i.lower for i in intervals]
        uppers = [i.upper for i in intervals]
        if self.smaller_of:
            return Interval(_innermost(lowers, max), _innermost(uppers, min))
        lower = None if None in lowers else _innermost(lowers, min)
        upper = None if None in uppers else _innermost(uppers, max)
        # The larger of a limit and none is none; of both sides none leaves nothing to judge by.
        return None if lower is None and upper is None else Interval(lower, upper)


def _innermost(
    sides: list[Fraction | None], choose: Callable[[list[Fraction]], Fraction]
) -> Fraction | None:
    stated = [side for side in sides if side is not None]
    return choose(stated) if stated else None


def _value(amount: Amount, basis: Basis) -> Fraction:
    number = _number(amount, basis)
    if basis.unit == "%" and amount.unit in ("d", "e"):
        return 100 * Fraction(number) / Fraction(_known(basis.load, "load"))
    return Fraction(number)


def _number(amount: Amount, basis: Basis) -> Decimal:
    """In the base unit of the amount; of counts always the mass."""
    number, unit = amount.number, amount.unit
    if amount.base_unit is not None:
        return amount.base
    if unit == "% of load":
        return _hundredth(number, _known(basis.load, "load"))
    if unit == "% of capacity":
        return _hundredth(number, _known(basis.instrument.capacity, "capacity"))
    interval = (
        basis.instrument.scale_interval if unit == "d" else basis.instrument.verification_interval
    )
    return EXACT.multiply(number, _known(interval, "verification_interval"))


def _hundredth(number: Decimal, of: Decimal) -> Decimal:
    return EXACT.scaleb(EXACT.multiply(number, of), -2)


def _known(value: Decimal | None, name: str) -> Decimal:
    if value is None:
        raise NotResolvedError(name)
    return value


def read_amount(text: object) -> Amount:
    """Read an amount of a limit: in units of criteria, or d, e, "% of load", "% of capacity".

    Raises:
        QuantityError: with the same codes as `read_quantity`; amounts are never negative here
            unless they bound one side, so the sign is left to the caller.
    """
    number, unit = split_quantity(text, example=_EXAMPLE)
    if unit not in AMOUNT_UNITS:
        taken = ", ".join(AMOUNT_UNITS)
        raise QuantityError("unit-not-taken", f"the unit {unit[:16]!r} is not taken here: {taken}")
    return Amount(number, unit)


def amount_pattern() -> str:
    """The grammar of amounts as a regular expression (ECMA 262)."""
    return f"^{NUMBER_PATTERN} ?({'|'.join(AMOUNT_UNITS)})$"
