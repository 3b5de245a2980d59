"""A limit of the profile, put into figures for one load on one balance."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from weighworthy_service.checks.explaining.formula import Figure, Formula, stated
from weighworthy_service.checks.explaining.functions import ascending, choice, largest, smallest
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.terms import LimitInForce
from weighworthy_service.metrology.limits import (
    Amount,
    Basis,
    CriterionUnit,
    Limit,
    NotResolvedError,
)


@dataclass(frozen=True, slots=True)
class Sides:
    """Lower and upper limit; None: not limited there. Places: what values are rounded to."""

    lower: Formula | None = None
    upper: Formula | None = None
    lower_place: Figure | None = None
    upper_place: Figure | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """What relative limits refer to: the load, as a figure, and the balance."""

    inputs: Inputs
    load: Figure | None
    nominal: Decimal | None
    unit: CriterionUnit

    @property
    def basis(self) -> Basis:
        """The same for the engine."""
        return Basis(self.inputs.here.instrument, self.nominal, self.unit)


def sides_of(in_force: LimitInForce, ground: Ground) -> Sides:
    """Both limits, as far as there are any; only of a limit that has a value here."""
    return _sides(in_force.limit, ground, f"profile {in_force.place}")


def is_limited(in_force: LimitInForce, ground: Ground) -> bool:
    """Whether the limit has a value here, and leaves one to keep it."""
    try:
        interval = in_force.limit.at(ground.basis)
    except NotResolvedError:
        return False
    if interval is None:
        return False
    lower, upper = interval.lower, interval.upper
    return lower is None or upper is None or lower <= upper


def _sides(limit: Limit, ground: Ground, place: str) -> Sides:
    if limit.within is not None:
        size = _value(limit.within, ground, f"{place}/within")
        last = _last_place(limit.within, f"{place}/within")
        return Sides(-size, size, last, last)
    if limit.lower is not None or limit.upper is not None:
        return Sides(
            None if limit.lower is None else _value(limit.lower, ground, f"{place}/lower"),
            None if limit.upper is None else _value(limit.upper, ground, f"{place}/upper"),
            None if limit.lower is None else _last_place(limit.lower, f"{place}/lower"),
            None if limit.upper is None else _last_place(limit.upper, f"{place}/upper"),
        )
    if limit.bands:
        return _band(limit, ground, place)
    return _chosen(limit, ground, place)


def _band(limit: Limit, ground: Ground, place: str) -> Sides:
    """The first band that reaches as far as the load; its end belongs to it."""
    assert ground.load is not None  # noqa: S101  the engine had one
    of_mass = replace(ground, unit="g")
    for i, band in enumerate(limit.bands):
        end = _value(band.up_to, of_mass, f"{place}/bands/{i}/up_to")
        reaches = ascending(ground.load, end)
        said = choice(reaches, "applies", "ends below the load")
        ground.inputs.sheet.step(f"band {i} of the limit", "band", said)
        if reaches.value:
            return _sides(band.limit, ground, f"{place}/bands/{i}")
    return Sides()


def _chosen(limit: Limit, ground: Ground, place: str) -> Sides:
    name = "smaller_of" if limit.smaller_of else "larger_of"
    parts = [
        _sides(part, ground, f"{place}/{name}/{i}")
        for i, part in enumerate(limit.smaller_of or limit.larger_of)
    ]
    lowers, uppers = [part.lower for part in parts], [part.upper for part in parts]
    if limit.smaller_of:
        return Sides(_of_stated(lowers, largest), _of_stated(uppers, smallest))
    return Sides(
        None if None in lowers else _of_stated(lowers, smallest),
        None if None in uppers else _of_stated(uppers, largest),
    )


def _of_stated(sides: Sequence[Formula | None], choose: Callable[..., Formula]) -> Formula | None:
    known = [side for side in sides if side is not None]
    return choose(*known) if known else None


def _value(amount: Amount, ground: Ground, origin: str) -> Formula:
    """In base units; counts of d and e of a loss are referred to the initial load."""
    unit, inputs = amount.unit, ground.inputs
    if amount.base_unit is not None:
        return stated("limit", amount.base, origin)
    if unit == "% of capacity":
        return stated("p", amount.number, origin) / 100 * inputs.instrument("Max", "capacity")
    assert ground.load is not None or ground.unit == "g"  # noqa: S101  the engine had a value
    if unit == "% of load":
        assert ground.load is not None  # noqa: S101
        return stated("p", amount.number, origin) / 100 * ground.load
    if unit == "d":
        count = stated("n", amount.number, origin) * inputs.instrument("d", "scale_interval")
    else:
        count = stated("n", amount.number, origin) * inputs.instrument("e", "verification_interval")
    return count if ground.unit == "g" else 100 * count / (ground.load or 1)


def _last_place(amount: Amount, origin: str) -> Figure | None:
    """The last written digit of an absolute amount; relative ones have none."""
    if amount.place is None:
        return None
    return stated("place", amount.place, f"rule last digit of {origin.removeprefix('profile ')}")
