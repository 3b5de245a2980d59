"""What a repeatability check says over time: standard deviation and range.

The smallest net mass is the standard deviation once more, and stays at its floor for long.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from weighworthy_service.checks.as_found import Measured, of_single_values
from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import rows


def as_found(criteria: Sequence[Said], _results: Said) -> Iterator[Measured]:
    """Each of both; none shifts with the weights."""
    return of_single_values([c for c in criteria if c.get("name") != "smallest_net_mass"])


def readings(_criteria: Sequence[Said], results: Said) -> tuple[tuple[Any, ...], int]:
    """One of each placing."""
    nets = tuple(row.get("net") for row in rows(results, "placings"))
    return nets, len(nets)
