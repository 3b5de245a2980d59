"""What an eccentricity check would reveal, and what it cannot see."""

from typing import Any, Final

from weighworthy_service.checks import shows
from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import estimates, spread, stated

# What differs from reading to reading.
OWN: Final = ("digitisation", "repeatability")
_BLIND: Final = (
    (
        "constant-error",
        "An error that is the same all over the pan, of span or a weight, cancels in differences.",
    ),
    ("scatter", "One reading at a place does not tell a difference from scatter."),
    ("heat", "These readings tell nothing of what heat does to balance and pan."),
    ("other-loads", "That differences grow in proportion to the load is assumed, not seen."),
    ("sample", "Where on the pan a sample will lie, and that it moves as it dries, is not seen."),
)


def reveals(judged: Judged, decision: Decision) -> list[dict[str, Any]]:
    """A line for what shows and for each thing that does not. `judged`: the difference."""
    smallest = shows.smallest(judged.tolerance, judged.expanded, decision, _scatter(judged))
    if smallest is None:
        message = "A difference of a place has no size to state: no limit, or no value can pass."
    else:
        message = (
            f"A difference of a place to the centre shows with 95 % probability from "
            f"{stated(smallest):f} g upwards."
        )
    lines: list[tuple[str, str | None, float | None, float | None, str]] = [
        ("off-centre", "g", smallest, 1.0, message)
    ]
    lines += [(fault, None, None, None, sentence) for fault, sentence in _BLIND]
    return [
        {
            "fault": fault,
            "smallest": size,
            "unit": unit,
            "sensitivity": sensitivity,
            "message": sentence,
        }
        for fault, unit, size, sensitivity, sentence in lines
    ]


def _scatter(judged: Judged) -> tuple[float, float]:
    rows = [row for row in judged.criterion.budget if row.source.startswith(OWN)]
    return spread([row.contribution for row in rows], estimates(rows))
