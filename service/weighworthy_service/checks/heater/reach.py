"""A heater check speaks of the chamber, whatever lies on the pan and however much of it dries off.

Which temperature a result was dried at no logbook tells, so the set points are not compared.
"""

from collections.abc import Sequence

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.reach import Reach


def reach(_criteria: Sequence[Said], _results: Said) -> Reach:
    """Every mass and loss."""
    return Reach(any_loss=True, any_mass=True)
