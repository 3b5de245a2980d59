"""What runs with a reference material show, and what they cannot see."""

from collections.abc import Iterator
from typing import Any, Final

from weighworthy_service.checks import shows
from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.reference_material.losses import own_uncertainty
from weighworthy_service.checks.shows import open_sides
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import stated

_UNSEEN: Final = {
    "which-part": "Which part is at fault does not show: heater, drying programme, handling of the "
    "sample and balance act on one number.",
    "span": "A wrong span cancels in the loss: a pass here does not stand for a span check.",
    "compensation": "Errors that cancel in this material, such as a drying too short in a chamber "
    "too hot, need not cancel in another.",
    "other-losses": "Other materials, masses and losses do not show: this one dries in its "
    "own way.",
}
_ONE_SIDED: Final = {
    (False, False): "",
    (True, False): " where more is lost, and never where less is",
    (False, True): " where less is lost, and never where more is",
}


def reveals(bias: Judged, decision: Decision) -> Iterator[dict[str, Any]]:
    """A line for each fault."""
    # What is stated of the material is the same in every check with it.
    own = own_uncertainty(bias.criterion.budget)
    smallest = shows.smallest(bias.tolerance, bias.expanded, decision, own)
    only = _ONE_SIDED[open_sides(None if bias.tolerance is None else bias.tolerance.interval)]
    if smallest is None:
        message = (
            "An error of the whole drying has no size to state: no limit, or no value can pass."
        )
    else:
        message = (
            f"An error of the whole drying shows with 95 % probability from {stated(smallest):f} % "
            f"upwards{only}."
        )
    yield _line("process", message, smallest)
    for fault, message in _UNSEEN.items():
        yield _line(fault, message)


def _line(fault: str, message: str, smallest: float | None = None) -> dict[str, Any]:
    return {
        "fault": fault,
        "smallest": smallest,
        "unit": None if smallest is None else "%",
        "sensitivity": None if smallest is None else 1.0,
        "message": message,
    }
