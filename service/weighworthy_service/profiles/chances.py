"""Chances that a limit passes or fails a balance, for one set of weights and over all sets.

The model is that of JCGM 106:2012, 9, with normal errors. *One set*: the weights are exactly what
is stated of them, and only what is new in every check varies: digitisation, repeatability, built-up
loads, the drift of a hot zero. *All sets*: over all weights, and all air, that the budget allows.

A display has steps. Where a criterion is a difference of readings, its values have them too, and a
limit acts midway between the last value that it passes and the next. Of n roundings that spread
such a value evenly, one is then in the steps themselves, and n - 1 are left to chance. (Given the
unrounded value, values on the grid are spread as a B-spline of order n, whose sums are the integral
of one of order n - 1.)
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, sqrt
from typing import Final

from weighworthy_service.checks.judging import decided
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow, standard_uncertainty
from weighworthy_service.metrology.conformity import acceptance_interval, guard_band, half_width
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.quantity import read_quantity
from weighworthy_service.metrology.risk import (
    Risks,
    acceptance_probability,
    global_risks,
    normal_population,
    once_a_year,
)

# How far off the balance is of which the chance to pass is told, in tolerances.
BEYOND: Final = Fraction(3, 2)

# What else a budget has, weights, their buoyancy and known corrections, stays from check to check.
_NEW_IN_EVERY_CHECK: Final = ("digitisation", "repeatability", "built-up loads", "hot zero drift")
# Values without a sign: a limit above bounds both directions of the difference behind them.
_MAGNITUDES: Final = ("span_agreement",)
# Sums and differences of whole readings, less a mass.
_ON_GRID: Final = ("span_error", "zero_return", "span_agreement", "point_error", "hysteresis")
_DAYS_A_YEAR: Final = 365
_A_YEAR: Final = {"day": _DAYS_A_YEAR, "week": 52, "month": 12, "year": 1}


@dataclass(frozen=True, slots=True)
class Chances:
    """A probability for one fixed set of weights, and over all sets."""

    one_set: float
    all_sets: float


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of an error that is new in every check, and with what lasts beside it."""

    varying: float
    whole: float

    @classmethod
    def of(cls, budget: Sequence[BudgetRow]) -> "Spread":
        """The spread of a criterion whose balance has no error."""
        new = [row for row in budget if row.source.startswith(_NEW_IN_EVERY_CHECK)]
        return cls(standard_uncertainty(new), standard_uncertainty(budget))

    def on_grid(self, step: Decimal) -> "Spread":
        """The same with one rounding less."""
        once = float(step) ** 2 / 12
        return Spread(*(sqrt(max(0.0, u**2 - once)) for u in (self.varying, self.whole)))

    @property
    def lasting(self) -> float:
        """What all checks with one set of weights share."""
        return sqrt(max(0.0, self.whole**2 - self.varying**2))


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Which values of a criterion let an instrument be used, and how they scatter."""

    accepted: Interval
    spread: Spread
    any_good: bool  # whether a balance without error can show one of them


def acceptance(criterion: Criterion, interval: Interval, terms: Terms, step: Decimal) -> Acceptance:
    """The acceptance of a judged criterion, whose value a balance without error has shown."""
    assert criterion.expanded_uncertainty is not None  # noqa: S101  of every judged one
    assert criterion.value is not None  # noqa: S101
    expanded = criterion.expanded_uncertainty
    accepted = _accepted(interval, terms, expanded)
    if criterion.name in _MAGNITUDES and accepted.upper is not None:
        accepted = Interval(-accepted.upper, accepted.upper)
    spread = Spread.of(criterion.budget)
    good = _contains_zero(accepted)
    if criterion.name not in _ON_GRID:
        return Acceptance(accepted, spread, good)

    def lets_use(value: Fraction) -> bool:
        value = abs(value) if criterion.name in _MAGNITUDES else value
        return decided(value, expanded, interval, terms.decision) in terms.use_on

    on_grid = _midway(accepted, Fraction(criterion.value), Fraction(step), lets_use)
    empty = None not in (on_grid.lower, on_grid.upper) and on_grid.lower == on_grid.upper
    return Acceptance(on_grid, spread.on_grid(step), good and not empty)


def _accepted(interval: Interval, terms: Terms, expanded: Decimal) -> Interval:
    decision = terms.decision
    if decision.rounding == "rounding":
        places = (interval.lower_place, interval.upper_place)
        below, above = (Fraction(decision.rounding_to or place or 0) / 2 for place in places)
        return Interval(
            None if interval.lower is None else interval.lower - below,
            None if interval.upper is None else interval.upper + above,
        )
    guard = guard_band(decision.rule, decision.guard_factor, expanded)
    if decision.rule == "four-way" and "conditional-fail" in terms.use_on:
        guard = -guard
    elif decision.rule == "four-way" and "conditional-pass" in terms.use_on:
        guard = Fraction(0)
    return acceptance_interval(interval, guard)


def _midway(
    accepted: Interval, shown: Fraction, step: Fraction, lets_use: Callable[[Fraction], bool]
) -> Interval:
    """From midway below the first accepted value `shown` + n·`step` to midway above the last.

    A value just on an end can go either way, by the rounding before a comparison: it is asked for.
    """
    lower = upper = None
    if accepted.lower is not None:
        first = ceil((accepted.lower - shown) / step)
        first += not lets_use(shown + first * step)
        lower = shown + (first - Fraction(1, 2)) * step
    if accepted.upper is not None:
        last = floor((accepted.upper - shown) / step)
        last -= not lets_use(shown + last * step)
        upper = shown + (last + Fraction(1, 2)) * step
    if lower is not None and upper is not None and lower > upper:
        return Interval(lower, lower)
    return Interval(lower, upper)


def _contains_zero(accepted: Interval) -> bool:
    return (accepted.lower is None or accepted.lower <= 0) and (
        accepted.upper is None or accepted.upper >= 0
    )


def false_rejection(of: Acceptance) -> Chances:
    """Chance that a check fails a balance without error."""
    return _both(of.spread, lambda u: 1 - acceptance_probability(0, u, of.accepted))


def false_acceptance(of: Acceptance, interval: Interval) -> Chances:
    """Chance that a check passes a balance that is 1.5 tolerances off, to the more likely side."""
    beyond = _beyond(interval)
    return _both(
        of.spread, lambda u: max(acceptance_probability(x, u, of.accepted) for x in beyond)
    )


def false_failures(of: Acceptance, times: int) -> Chances:
    """Chance that of so many checks with one set of weights at least one fails such a balance."""
    varying, lasting = of.spread.varying, of.spread.lasting
    return Chances(
        once_a_year(of.accepted, varying, 0, times),
        once_a_year(of.accepted, varying, lasting, times),
    )


def risks_of_all(of: Acceptance, interval: Interval, of_balances: Fraction) -> Risks:
    """Global risks, if true errors have this standard deviation, in halves of the tolerance."""
    balances = normal_population(0, float(of_balances * half_of(interval)))
    return global_risks(balances, of.spread.whole, interval, of.accepted)


def checks_a_year(every: str) -> int:
    """How many checks the period of a schedule makes in 365 days; at least one."""
    if every in _A_YEAR:
        return _A_YEAR[every]
    return max(1, int(_DAYS_A_YEAR * 86400 / read_quantity(every, "time")))


def half_of(interval: Interval) -> Fraction:
    """Half of the tolerance's width; with one limit, its distance from zero."""
    half = half_width(interval)
    if half is not None:
        return half
    return abs(interval.upper if interval.upper is not None else interval.lower or Fraction(0))


def _both(spread: Spread, of: Callable[[float], float]) -> Chances:
    # Differences of probabilities near one can leave the last digit on the wrong side of zero.
    return Chances(*(min(1.0, max(0.0, of(u))) for u in (spread.varying, spread.whole)))


def _beyond(interval: Interval) -> list[float]:
    """True errors of balances that are off too far, on every side that has a limit."""
    middle = Fraction(0)
    if interval.lower is not None and interval.upper is not None:
        middle = (interval.lower + interval.upper) / 2
    reach = BEYOND * half_of(interval)
    sides = (middle + reach, interval.upper), (middle - reach, interval.lower)
    return [float(error) for error, limit in sides if limit is not None]
