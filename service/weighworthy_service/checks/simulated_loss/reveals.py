"""What a simulated loss would reveal, and what it cannot see.

For an otherwise perfect balance, the smallest fault for which the verdict is not pass with 95 %
probability: (A + t·u_r)/|c|, with A the acceptance limit, u_r digitisation and repeatability, t the
one-sided 95 % quantile, and c the sensitivity of the loss to the fault.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Outcome
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import (
    effective_degrees_of_freedom,
    standard_uncertainty,
    stated,
    t_quantile,
)
from weighworthy_service.metrology.conformity import acceptance_interval, guard_band, half_width
from weighworthy_service.metrology.limits import Interval

PROBABILITY: Final = 0.95

_OWN: Final = ("digitisation", "repeatability")


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault with the sensitivity of the loss to it, in % per `unit`; None: it cancels."""

    name: str
    unit: str | None
    sensitivity: float | None
    sentence: str


def reveals(
    check: SimulatedLossCheck, found: Outcome, judged: Judged, terms: Terms
) -> list[dict[str, Any]]:
    """A line for each fault: the smallest size that shows, or why it does not show."""
    threshold = _threshold(judged, terms)
    only = _ONE_SIDED[_open_sides(judged.interval)]
    return [_line(fault, threshold, only) for fault in _faults(check, found)]


def _faults(check: SimulatedLossCheck, found: Outcome) -> Iterator[Fault]:
    final_slope, common = float(found.at.final), float(found.at.common)
    yield Fault("zero-change", "g", final_slope, "a change of zero between the two readings")
    yield Fault("common-zero", "g", common, "a zero that is off alike in both readings")
    initial, final = set(check.initial.load), set(check.final.load)
    for name, weights, sentence in (
        ("removed-weight", initial - final, "an error of a weight that is lifted off"),
        ("staying-weight", initial & final, "an error of a weight that stays"),
        ("placed-weight", final - initial, "an error of a weight that is put on instead"),
    ):
        if weights:
            yield Fault(name, "g", float(found.weights[min(weights)]), sentence)
    change = final_slope * float(found.final)
    yield Fault("gain-change", "1", change, "a change of gain (relative) between the readings")
    yield Fault(
        "departure-at-final",
        "g",
        final_slope,
        "a departure from linearity at the final load, not to be told from a change of zero,",
    )
    yield Fault("curvature", "g", _curvature(check), "a constant curvature (bow at mid-range)")
    yield Fault(
        "constant-gain",
        "1",
        None,
        "A constant gain (span) error cancels in the ratio: this check never reveals it.",
    )
    yield Fault("heat", None, None, _HEAT[check.took_heat])


_HEAT: Final = {
    True: "This run was heated: a change of zero through heat shows like any change of zero.",
    False: "This run was cold: it cannot see what heat does to the balance.",
    None: "Whether the run was heated is not stated; a cold run cannot see what heat does.",
}


def _curvature(check: SimulatedLossCheck) -> float | None:
    """-4·m·L(1 - L)/Max² per g of bow (L a fraction, wet): nearly nothing."""
    capacity = check.circumstances.instrument.capacity
    if capacity is None:
        return None
    start, end = (float(check.circumstances.mass(p.load)) for p in (check.initial, check.final))
    left = end / start
    wet = -400 * start * (1 - left) * left / float(capacity) ** 2
    return wet if check.basis == "wet" else wet / left**2


def _threshold(judged: Judged, terms: Terms) -> float | None:
    """A + t·u_r in %, or None where no value can pass or there is no limit."""
    criterion, interval = judged.criterion, judged.interval
    if interval is None or criterion.expanded_uncertainty is None:
        return None
    decision = terms.decision
    guard = guard_band(decision.rule, decision.guard_factor, criterion.expanded_uncertainty)
    accepted = acceptance_interval(interval, guard)
    half = half_width(accepted)
    if half is not None and half < 0:
        return None
    own = [row for row in criterion.budget if row.source.startswith(_OWN)]
    scatter = standard_uncertainty(own)
    t = t_quantile(PROBABILITY, effective_degrees_of_freedom(own))
    return max(0.0, float(_larger_side(accepted))) + t * scatter


_ONE_SIDED: Final = {
    (False, False): "",
    (True, False): " where it raises the loss, and never where it lowers it",
    (False, True): " where it lowers the loss, and never where it raises it",
}


def _open_sides(interval: Interval | None) -> tuple[bool, bool]:
    """Whether there is no lower limit, and whether there is no upper one."""
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


def _line(fault: Fault, threshold: float | None, only: str) -> dict[str, Any]:
    smallest = None
    if fault.unit is None or fault.name == "constant-gain":
        message = fault.sentence
    elif fault.sensitivity is None:
        message = f"{_capital(fault.sentence)} cannot be sized: the request states no capacity."
    elif fault.sensitivity == 0:
        message = f"{_capital(fault.sentence)} does not show at all in this check."
    elif threshold is None:
        message = (
            f"{_capital(fault.sentence)} has no size to state: no limit, or no value can pass."
        )
    else:
        smallest = threshold / abs(fault.sensitivity)
        size = stated(smallest)
        unit = "" if fault.unit == "1" else f" {fault.unit}"
        message = (
            f"{_capital(fault.sentence)} shows with 95 % probability from {size:f}{unit} "
            f"upwards{only}."
        )
    return {
        "fault": fault.name,
        "smallest": smallest,
        "unit": fault.unit,
        "sensitivity": fault.sensitivity,
        "message": message,
    }


def _capital(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]
