"""How large a fault must be to show: A + t·u_r, with A the acceptance limit.

For an otherwise perfect balance that is the smallest shift of a criterion for which its verdict is
not pass with 95 % probability; u_r is what scatters from reading to reading, t one-sided.
"""

from decimal import Decimal
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import t_quantile
from weighworthy_service.metrology.conformity import (
    Tolerance,
    acceptance_interval,
    guard_band,
    half_width,
)
from weighworthy_service.metrology.limits import Interval

PROBABILITY: Final = 0.95


def threshold(accepted: float, scatter: float, degrees: float) -> float:
    """What shows: `scatter` is a standard uncertainty with its degrees of freedom."""
    return accepted + t_quantile(PROBABILITY, degrees) * scatter


def smallest(
    tolerance: Tolerance | None,
    expanded: Decimal | None,
    decision: Decision,
    scatter: tuple[float | None, float | None],
) -> float | None:
    """What shows of a criterion with this expanded uncertainty, as `threshold`; None: no size.

    `scatter` is None where the criterion has no value.
    """
    standard, degrees = scatter
    if tolerance is None or expanded is None or standard is None or degrees is None:
        return None
    accepted = accepted_side(tolerance.interval, expanded, decision)
    return None if accepted is None else threshold(accepted, standard, degrees)


def accepted_side(interval: Interval, expanded: Decimal, decision: Decision) -> float | None:
    """The acceptance limit that is farther from zero; None where no value can pass."""
    guard = guard_band(decision.rule, decision.guard_factor, expanded)
    accepted = acceptance_interval(interval, guard)
    half = half_width(accepted)
    return None if half is not None and half < 0 else max(0.0, float(_larger_side(accepted)))


def open_sides(interval: Interval | None) -> tuple[bool, bool]:
    """Whether there is no lower limit, and whether there is no upper one: none shows there."""
    if interval is None:
        return False, False
    return interval.lower is None, interval.upper is None


def _larger_side(accepted: Interval) -> Fraction:
    sides = []
    if accepted.upper is not None:
        sides.append(accepted.upper)
    if accepted.lower is not None:
        sides.append(-accepted.lower)
    return max(sides)
