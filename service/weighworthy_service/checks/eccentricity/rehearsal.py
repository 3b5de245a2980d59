"""The eccentricity check that a perfect balance would give."""

from collections.abc import Sequence

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.eccentricity.check import EccentricityCheck, PlacedAt
from weighworthy_service.checks.rehearsal import Load, Rehearsal, indication

_POSITIONS = ("centre", "front", "left", "back", "right")


def rehearse(circumstances: Circumstances, loads: Sequence[Load]) -> tuple[Rehearsal, ...]:
    """A check for each load: the centre once and four places off it, each with its zero.

    Raises:
        SenseError: a load names weights that are not there, or twice.
    """
    return tuple(Rehearsal(_check(circumstances, load), load) for load in loads)


def _check(circumstances: Circumstances, load: Load) -> EccentricityCheck:
    nought = indication((), circumstances)
    shown = indication(load, circumstances)
    placings = tuple(PlacedAt(position, shown, nought, stable=True) for position in _POSITIONS)
    return EccentricityCheck(circumstances, load, placings)
