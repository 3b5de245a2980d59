"""What blank runs show, and what they cannot see."""

from collections.abc import Iterator
from typing import Any, Final

from weighworthy_service.checks import shows
from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.blank_run.remarks import HOT
from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.shows import open_sides
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import stated

_UNSEEN: Final = {
    "span": "A wrong span does not show: nothing is weighed against a known mass.",
    "linearity": "Departures from linearity do not show: the pan stays near one load.",
    "heater": "Whether the chamber reaches its temperature does not show: that takes a probe, or a "
    "reference material.",
    "buoyancy": "Hot air carries less than cold air. What that does to a pan shows here; what it "
    "does to the volume of a sample does not.",
}
_ONE_SIDED: Final = {
    (False, False): "",
    (True, False): " where the indication rises, and never where it falls",
    (False, True): " where the indication falls, and never where it rises",
}


def reveals(check: BlankRunCheck, judged: Judged, decision: Decision) -> Iterator[dict[str, Any]]:
    """A line for each fault; `judged` is the change of zero that is most critical."""
    criterion = judged.criterion
    # All of the budget of a change differs from run to run.
    scatter = criterion.standard_uncertainty, criterion.degrees_of_freedom
    smallest = shows.smallest(judged.tolerance, judged.expanded, decision, scatter)
    interval = None if judged.tolerance is None else judged.tolerance.interval
    only = _ONE_SIDED[open_sides(interval)]
    hot = any(
        r.chamber_temperature is not None and r.chamber_temperature >= HOT for r in check.runs
    )
    if not hot:
        message = "What heat does to the zero does not show: no run is stated to have been hot."
        yield _line("hot-zero-drift", message)
    elif smallest is None:
        message = (
            "A change of zero through a hot run has no size to state: no limit, or no value can "
            "pass."
        )
        yield _line("hot-zero-drift", message)
    else:
        message = (
            f"A change of zero through a hot run shows with 95 % probability from "
            f"{stated(smallest):f} g upwards{only}."
        )
        yield _line("hot-zero-drift", message, smallest)
        message = (
            f"Draughts and convection show like a change of zero, with 95 % probability from "
            f"{stated(smallest):f} g upwards{only}, where they differ from start to end."
        )
        yield _line("convection", message, smallest)
    for fault, message in _UNSEEN.items():
        yield _line(fault, message)


def _line(fault: str, message: str, smallest: float | None = None) -> dict[str, Any]:
    return {
        "fault": fault,
        "smallest": smallest,
        "unit": None if smallest is None else "g",
        "sensitivity": None if smallest is None else 1.0,
        "message": message,
    }
