"""Chances that a limit passes or fails a balance, for one set of weights and over all sets.

*One set*: the weights are exactly what is stated of them, and only what is new in every check
varies: digitisation, repeatability, built-up loads, the drift of a hot zero. *All sets*: over all
weights, and all air, that the budget allows. (JCGM 106:2012, 9; see `passing`.)
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from weighworthy_service.metrology.conformity import half_width
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.quantity import read_quantity
from weighworthy_service.metrology.risk import (
    Risks,
    Values,
    averaged,
    blurred,
    normal_population,
    risks_of,
)
from weighworthy_service.profiles.passing import Acceptance

# How far off the balance is of which the chance to pass is told, in tolerances.
BEYOND: Final = Fraction(3, 2)

_DAYS_A_YEAR: Final = 365
_A_YEAR: Final = {"day": _DAYS_A_YEAR, "week": 52, "month": 12, "year": 1}


@dataclass(frozen=True, slots=True)
class Chances:
    """A probability for one fixed set of weights, and over all sets."""

    one_set: float
    all_sets: float


def false_rejection(of: Acceptance) -> Chances:
    """Chance that a check fails a balance without error."""
    good = passed(of, 0.0)
    return Chances(1 - good.one_set, 1 - good.all_sets)


def false_acceptance(of: Acceptance, interval: Interval) -> Chances:
    """Chance that a check passes a balance that is 1.5 tolerances off, to the more likely side."""
    both = [passed(of, off) for off in _beyond(interval)]
    return Chances(max(c.one_set for c in both), max(c.all_sets for c in both))


def passed(of: Acceptance, off: float) -> Chances:
    """Chance that a check passes a balance that is off by so much, in the criterion's unit."""
    bends = [(at - off, scale) for at, scale in of.bends]
    chances = (averaged(lambda x: of.passes(off + x), u, bends) for u in (0, of.lasting))
    # A sum of panels may miss 0 or 1 by a last digit.
    return Chances(*(min(1.0, max(0.0, chance)) for chance in chances))


def false_failures(of: Acceptance, times: int) -> Chances:
    """Chance that of so many checks with one set of weights at least one fails such a balance."""

    def at_least_one(off: Values) -> Values:
        return 1 - of.passes(off) ** times

    return Chances(
        averaged(at_least_one, 0, of.bends), averaged(at_least_one, of.lasting, of.bends)
    )


def risks_of_all(of: Acceptance, interval: Interval, of_balances: Fraction) -> Risks:
    """Global risks, if true errors have this standard deviation, in halves of the tolerance."""
    balances = normal_population(0, float(of_balances * half_of(interval)))
    return risks_of(balances, blurred(of.passes, of.lasting), interval, of.bends)


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


def _beyond(interval: Interval) -> list[float]:
    """True errors of balances that are off too far, on every side that has a limit."""
    middle = Fraction(0)
    if interval.lower is not None and interval.upper is not None:
        middle = (interval.lower + interval.upper) / 2
    reach = BEYOND * half_of(interval)
    sides = (middle + reach, interval.upper), (middle - reach, interval.lower)
    return [float(error) for error, limit in sides if limit is not None]
