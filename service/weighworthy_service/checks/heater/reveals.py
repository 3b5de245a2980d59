"""What a heater check would reveal, and what it cannot see."""

from typing import Any, Final

from weighworthy_service.checks import shows
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.checks.shows import open_sides
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import stated
from weighworthy_service.metrology.conformity import Tolerance

_UNSEEN: Final = {
    "sample": (
        "The temperature of the sample does not show: it follows the probe only as far as air, pan "
        "and radiation heat both alike."
    ),
    "elsewhere": "Temperatures away from the probe, and at other settings, do not show.",
    "balance": (
        "An error of the balance does not show: span, linearity and zero need checks of their own."
    ),
    "probe": "An error of the probe itself does not show, up to the uncertainty stated for it.",
    "presence": (
        "What probe and cable change themselves does not show: they carry heat, and may keep the "
        "chamber from closing."
    ),
}
_ONE_SIDED: Final = {
    (False, False): "",
    (True, False): " where it is too hot, and never where it is too cold",
    (False, True): " where it is too cold, and never where it is too hot",
}


def reveals(
    error: Criterion, tolerance: Tolerance | None, decision: Decision
) -> list[dict[str, Any]]:
    """A line for the smallest error that shows, and one for each thing that does not.

    Smallest: A + t·u in K, with A the acceptance limit farther from zero, t the one-sided 95 %
    quantile, u that of the set point that decides.
    """
    # All of it: what the probe hides itself may hide an error of the chamber.
    scatter = error.standard_uncertainty, error.degrees_of_freedom
    smallest = shows.smallest(tolerance, error.expanded_uncertainty, decision, scatter)
    if smallest is None:
        message = "An error of the chamber temperature has no size that shows: no limit holds it."
    else:
        assert tolerance is not None  # noqa: S101  a size comes from a limit
        only = _ONE_SIDED[open_sides(tolerance.interval)]
        # One text, for it is translated as a whole.
        message = (
            "An error of the chamber temperature where the probe was shows with 95 % probability "
            f"from {stated(smallest):f} K upwards{only}."
        )
    return [
        _line("temperature", message, smallest),
        *(_line(fault, sentence, None) for fault, sentence in _UNSEEN.items()),
    ]


def _line(fault: str, message: str, smallest: float | None) -> dict[str, Any]:
    unit = None if smallest is None else "K"
    return {"fault": fault, "smallest": smallest, "unit": unit, "message": message}
