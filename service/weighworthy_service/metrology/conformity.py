"""Decision rules and conformance probability.

Rules: simple acceptance, guarded acceptance (JCGM 106:2012, 8.2 and 8.3.2), and the four-way rule
(ILAC-G8:09/2019, 4.2.3). Rounding before comparison: ASTM E29, absolute or rounding method.
Every comparison is exact; a value on a limit is inside.
"""

from decimal import Decimal
from fractions import Fraction
from math import inf, lcm
from typing import Literal

from weighworthy_service.metrology.budget import t_probability
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.rounding import rounded_to_place

Decided = Literal["pass", "conditional-pass", "conditional-fail", "fail"]
Rule = Literal["simple", "guarded", "four-way"]


def guard_band(rule: Rule, guard_factor: Decimal, expanded: Decimal | Fraction) -> Fraction:
    """Width w = r·U of the guard band; zero under simple acceptance."""
    return Fraction(0) if rule == "simple" else Fraction(guard_factor) * Fraction(expanded)


def acceptance_interval(interval: Interval, guard: Fraction) -> Interval:
    """Where a value passes without condition; its lower end above the upper: nowhere."""
    return Interval(
        None if interval.lower is None else interval.lower + guard,
        None if interval.upper is None else interval.upper - guard,
    )


class Tolerance:
    """An interval in whole numbers: its limits are `lower` and `upper` over one denominator `per`.

    For many values held against it: their comparisons are exact and take no fractions.
    """

    __slots__ = ("ends", "interval", "lower", "per", "upper", "width")

    def __init__(self, interval: Interval) -> None:
        sides = [side for side in (interval.lower, interval.upper) if side is not None]
        per = lcm(*(side.denominator for side in sides))
        self.interval = interval
        self.per: int = per
        self.lower = None if interval.lower is None else _over(interval.lower, per)
        self.upper = None if interval.upper is None else _over(interval.upper, per)
        self.width = None if self.lower is None or self.upper is None else self.upper - self.lower
        self.ends = (
            -inf if self.lower is None else self.lower / per,
            inf if self.upper is None else self.upper / per,
        )

    @property
    def half(self) -> Fraction | None:
        """Half of the width; None with one side only."""
        return half_width(self.interval)

    @property
    def limits(self) -> tuple[Fraction | None, Fraction | None]:
        """Both limits as they were."""
        return self.interval.lower, self.interval.upper

    @property
    def extent(self) -> int:
        """The width; of one limit alone twice its distance from zero."""
        if self.width is not None:
            return self.width
        return 2 * abs(self.lower or self.upper or 0)

    def room(self, numerator: int, denominator: int) -> int:
        """`distance` of a ratio with a denominator above zero, times `per` and the denominator."""
        at = numerator * self.per
        if self.upper is None:
            assert self.lower is not None  # noqa: S101  an interval has one limit at least
            return at - self.lower * denominator
        below = self.upper * denominator - at
        return below if self.lower is None else min(below, at - self.lower * denominator)

    def distance(self, room: int, denominator: int) -> Fraction:
        """That room in the unit of the limits."""
        return Fraction(room, self.per * denominator)

    def margin(self, room: int, denominator: int) -> tuple[int, int] | None:
        """That room in halves of the width, as a ratio; None without a width above zero."""
        return (2 * room, self.width * denominator) if self.width else None


def _over(limit: Fraction, per: int) -> int:
    return limit.numerator * (per // limit.denominator)


def decide(value: Fraction, interval: Interval, rule: Rule, guard: Fraction) -> Decided:
    """The verdict on one value; under the four-way rule the worse side counts."""
    return by_room(distance(value, interval), guard, rule)


def by_room(room: Fraction | int, guard: Fraction | int, rule: Rule) -> Decided:
    """The verdict by the room to the nearest limit; room and guard band on any one scale."""
    if rule != "four-way":
        return "pass" if room >= guard else "fail"
    if room >= guard:
        return "pass"
    if room >= 0:
        return "conditional-pass"
    return "conditional-fail" if room >= -guard else "fail"


def decide_rounded(value: Fraction, interval: Interval, place: Decimal | None) -> Decided:
    """Simple acceptance after rounding the value half to even to the limit's last place.

    `place` overrides the places of the limits themselves.
    """
    for limit, own_place, sign in (
        (interval.upper, interval.upper_place, 1),
        (interval.lower, interval.lower_place, -1),
    ):
        if limit is None:
            continue
        to = place or own_place
        seen = value if to is None else rounded_to_place(value, to)
        if sign * (seen - limit) > 0:
            return "fail"
    return "pass"


def distance(value: Fraction, interval: Interval) -> Fraction:
    """Room to the nearest limit, negative outside."""
    tolerance = Tolerance(interval)
    room = tolerance.room(value.numerator, value.denominator)
    return tolerance.distance(room, value.denominator)


def half_width(interval: Interval) -> Fraction | None:
    """Half of the tolerance's width; None with one side only."""
    if interval.lower is None or interval.upper is None:
        return None
    return (interval.upper - interval.lower) / 2


def conformance_probability(
    value: float, standard: float, degrees_of_freedom: float, interval: Interval
) -> float:
    """Probability that the true value lies within the limits (JCGM 106:2012, 7.2, 7.3).

    Student's t distribution at the value, scaled by its standard uncertainty; flat prior.
    """
    lower = -inf if interval.lower is None else float(interval.lower)
    upper = inf if interval.upper is None else float(interval.upper)
    return probability_between(value, standard, degrees_of_freedom, (lower, upper))


def probability_between(
    value: float, standard: float, degrees_of_freedom: float, limits: tuple[float, float]
) -> float:
    """The same between limits of which either may be infinite."""
    to_lower, to_upper = (value - limits[0]) / standard, (limits[1] - value) / standard
    nearer, farther = min(to_upper, to_lower), max(to_upper, to_lower)
    # Small probabilities keep their digits: outside the body is small, inside the two tails are.
    if nearer < 0:
        body = t_probability(nearer, degrees_of_freedom)
        return max(0.0, body - t_probability(-farther, degrees_of_freedom))
    tails = t_probability(-nearer, degrees_of_freedom) + t_probability(-farther, degrees_of_freedom)
    return 1.0 - tails
