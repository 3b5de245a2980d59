"""What an eccentricity check says over time: both of its criteria, and its readings."""

from collections.abc import Iterator, Sequence
from typing import Any

from weighworthy_service.checks.as_found import Measured, of_single_values
from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import rows


def as_found(criteria: Sequence[Said], _results: Said) -> Iterator[Measured]:
    """The errors would shift with the weights, the differences would not."""
    for measured in of_single_values(criteria):
        yield measured._replace(of_weights=measured.criterion == "position_error")


def readings(_criteria: Sequence[Said], results: Said) -> tuple[tuple[Any, ...], int]:
    """One of each placing."""
    nets = tuple(row.get("net") for row in rows(results, "placings"))
    return nets, len(nets)
