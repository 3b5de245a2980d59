"""What a repeatability check would reveal, and what it cannot see.

The smallest scatter of a balance with which the standard deviation of so many placings passes in
no more than 5 of 100 checks: A·√(ν/χ²) with A the acceptance limit, χ² the 5 % quantile.
"""

from fractions import Fraction
from math import sqrt
from typing import Any, Final

from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.repeatability.scatter import Scatter
from weighworthy_service.checks.shows import PROBABILITY
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import chi_square_quantile, stated
from weighworthy_service.metrology.conformity import acceptance_interval, guard_band

_BLIND: Final = (
    (
        "constant-error",
        "An error that is the same each time, of span or of a weight, cancels and never shows.",
    ),
    (
        "heat",
        "These placings tell nothing of what heat does to the balance during a drying run.",
    ),
    (
        "off-centre",
        "What a load off the centre does shows only as far as the placings happened to differ.",
    ),
    (
        "other-loads",
        "One load says nothing certain about the scatter at others.",
    ),
    (
        "other-days",
        "Placings of one sitting do not tell what differs from day to day or person to person.",
    ),
)


def reveals(scatter: Scatter, judged: Judged, decision: Decision) -> list[dict[str, Any]]:
    """A line for what shows and for each thing that does not. `judged`: the standard deviation."""
    smallest = _smallest(scatter, judged, decision)
    if smallest is None:
        message = "A scatter of the balance has no size to state: no limit, or no value can pass."
    else:
        message = (
            f"A scatter of the balance shows with 95 % probability from {stated(smallest):f} g "
            "upwards."
        )
    lines: list[tuple[str, str | None, float | None, str]] = [("scatter", "g", smallest, message)]
    lines += [(fault, None, None, sentence) for fault, sentence in _BLIND]
    return [
        {
            "fault": fault,
            "smallest": size,
            "unit": unit,
            "sensitivity": None,
            "message": sentence,
        }
        for fault, unit, size, sentence in lines
    ]


def accepted(judged: Judged, decision: Decision) -> Fraction | None:
    """The largest standard deviation that passes; None: there is no limit, or none can."""
    if judged.tolerance is None or judged.expanded is None:
        return None
    guard = guard_band(decision.rule, decision.guard_factor, judged.expanded)
    upper = acceptance_interval(judged.tolerance.interval, guard).upper
    return upper if upper is not None and upper > 0 else None


def _smallest(scatter: Scatter, judged: Judged, decision: Decision) -> float | None:
    most = accepted(judged, decision)
    if most is None:
        return None
    degrees = scatter.n - 1
    return float(most) * sqrt(degrees / chi_square_quantile(1 - PROBABILITY, degrees))
