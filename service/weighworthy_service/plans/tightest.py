"""The tightest tolerance that a check of a balance can honestly be given, and what keeps it there.

A tolerance ±T is honest if T is at least each of its floors (a stated multiple of the expanded
uncertainty, twice the guard band, what rounding alone does, what the weights may take), and if a
balance without error is rejected by no more than a stated chance. The budget does not depend on T,
and a wider tolerance never rejects more, so the smallest T of two digits is found by halving.
"""

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from math import floor, log10
from typing import Final, Literal

from weighworthy_service.checks.rehearsal import Loads
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.loss import slopes
from weighworthy_service.metrology.rounding import rounded_up
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.plans.asking import LOSS
from weighworthy_service.plans.rehearsed import Rehearsed
from weighworthy_service.plans.words import amount, chance, exact, plain, share
from weighworthy_service.profiles.chances import false_rejection

Condition = Literal["ratio", "guard-band", "rounding", "weights", "false-rejection"]
# A limit is written with as many digits as an expanded uncertainty is stated with.
_DIGITS: Final = 2
_PER_DECADE: Final = 90
# Steps of two digits beyond the floors in which a tolerance is looked for: two decades.
_FAR: Final = 2 * _PER_DECADE


@dataclass(frozen=True, slots=True)
class Honest:
    """What a tolerance must keep. `false_rejection` is a chance, `weights` a share of it."""

    ratio: Decimal
    false_rejection: Fraction
    weights: Fraction


@dataclass(frozen=True, slots=True)
class Floor:
    """The smallest T that keeps one condition, in g or %, and why."""

    condition: Condition
    least: Fraction
    because: str


@dataclass(frozen=True, slots=True)
class Tightest:
    """`within` is the T of two digits, in g or %; `limited_by` the condition that keeps it there;
    `rejection` the chance at it and `rejection_below` that at the next smaller T, where looked for.
    """

    within: Decimal
    limited_by: Condition
    floors: tuple[Floor, ...]
    rejection: float
    rejection_below: float | None

    @property
    def interval(self) -> Interval:
        """The tolerance."""
        return within(self.within)


def within(half: Decimal | Fraction) -> Interval:
    """±T."""
    return Interval(-Fraction(half), Fraction(half))


def tightest(of: Rehearsed, honest: Honest, weights_error: Fraction) -> Tightest | None:
    """The tightest honest tolerance; None: not even a hundredfold one keeps the chance.

    `weights_error`: the largest error that the weights may bring in, in the criterion's unit.
    """
    floors = _floors(of, honest, weights_error)
    highest = max(floors, key=lambda one: one.least)
    most = float(honest.false_rejection)
    known: dict[int, float] = {}

    def rejected(step: int) -> float:
        if step not in known:
            interval = within(_of_step(step))
            known[step] = false_rejection(of.acceptance(interval)).all_sets
        return known[step]

    first = _step_at(highest.least)
    if rejected(first) <= most:
        return Tightest(_of_step(first), highest.condition, floors, rejected(first), None)
    if rejected(first + _FAR) > most:
        return None
    step = first + bisect_left(
        range(_FAR + 1), True, key=lambda above: rejected(first + above) <= most
    )
    at = _of_step(step)
    because = (
        f"A balance without error is rejected with a chance of {chance(rejected(step))} at "
        f"{exact(at, of.name.unit)}, and of {chance(rejected(step - 1))} at "
        f"{exact(_of_step(step - 1), of.name.unit)}; at most "
        f"{amount(honest.false_rejection * 100, '%')} is asked."
    )
    floors = (*floors, Floor("false-rejection", Fraction(at), because))
    return Tightest(at, "false-rejection", floors, rejected(step), rejected(step - 1))


def _floors(of: Rehearsed, honest: Honest, weights_error: Fraction) -> tuple[Floor, ...]:
    unit, expanded = of.name.unit, of.expanded
    ratio = Fraction(honest.ratio) * Fraction(expanded)
    found = [
        Floor(
            "ratio",
            ratio,
            f"{plain(honest.ratio)} times U = {exact(expanded, unit)} is {amount(ratio, unit)}.",
        )
    ]
    if of.guard:
        twice = 2 * of.guard
        said = f"The guard band {amount(of.guard, unit)} is at most half of {amount(twice, unit)}."
        found.append(Floor("guard-band", twice, said))
    if of.rounding:
        said = f"Rounding of the readings alone can shift the value by {amount(of.rounding, unit)}."
        found.append(Floor("rounding", of.rounding, said))
    if weights_error:
        least = weights_error / honest.weights
        said = (
            f"The weights may be off by {amount(weights_error, unit)}, which is "
            f"{share(honest.weights)} of {amount(least, unit)}."
        )
        found.append(Floor("weights", least, said))
    return tuple(found)


def weights_error(of: Rehearsed, loads: Loads) -> Fraction:
    """The largest error that the weights themselves may bring into the criterion.

    Sum of what each may be off by (U at k = 2, or its class limit) times what that does to an error
    of indication, or, by the slopes of the expected loss, to a loss.
    """
    weights = of.circumstances.weights
    if of.kind is LOSS:
        start, end = (Fraction(of.circumstances.mass(x)) for x in (loads.initial, loads.final))
        at = slopes(start, end, loads.basis)
        acting: dict[str, Fraction] = {}
        for load, slope in ((loads.initial, at.initial), (loads.final, at.final)):
            for name in load:
                acting[name] = acting.get(name, Fraction(0)) + slope
        return sum((abs(c) * weights[n].allowance for n, c in acting.items()), Fraction(0))
    if not of.name.has_load:
        return Fraction(0)
    return sum((weights[name].allowance for name in of.load), Fraction(0))


def swallows(of: Rehearsed, half: Decimal) -> bool:
    """Whether a tolerance is no smaller than the loss that it is to tell from none: no such check
    can pass."""
    return of.kind is LOSS and abs(Fraction(of.results["expected_loss"])) <= Fraction(half)


def below_the_loss(of: Rehearsed) -> Decimal | None:
    """The largest limit of two digits that a simulated loss can have; None: nothing is lifted off.

    In %; see `swallows`.
    """
    loss = abs(Fraction(of.results["expected_loss"]))
    if not loss:
        return None
    step = _step_at(loss)
    return _of_step(step - 1 if _of_step(step) >= loss else step)


def with_class(
    weights: Mapping[str, ReferenceWeight], names: tuple[str, ...], weight_class: str
) -> dict[str, ReferenceWeight] | None:
    """The same weights, those named as new ones of a class; None: it has no such nominal value."""
    made = dict(weights)
    for name in names:
        old = weights[name]
        made[name] = replace(
            old,
            weight_class=weight_class,
            conventional_mass=None,
            expanded_uncertainty=None,
            coverage_factor=None,
            drift=None,
            certificate=None,
        )
        if made[name].class_limit is None:
            return None
    return made


def _step_at(least: Fraction) -> int:
    """The step of the smallest T of two digits that is not below."""
    return _step_of(rounded_up(least, _DIGITS))


def _step_of(value: Decimal) -> int:
    decade = floor(log10(value))
    digits = value.scaleb(1 - decade)
    # A logarithm beside a power of ten may be off by one, either way.
    while digits >= 100:
        decade, digits = decade + 1, digits.scaleb(-1)
    while digits < 10:
        decade, digits = decade - 1, digits.scaleb(1)
    return _PER_DECADE * decade + int(digits) - 10


def _of_step(step: int) -> Decimal:
    decade, digits = divmod(step, _PER_DECADE)
    return Decimal(10 + digits).scaleb(decade - 1)
