"""What a simulated loss says over time: one error of the loss, and of which loss."""

from collections.abc import Iterator, Sequence
from typing import Any

from weighworthy_service.checks.as_found import Measured, finite, measured_of
from weighworthy_service.checks.faults import Said


def as_found(criteria: Sequence[Said], results: Said) -> Iterator[Measured]:
    """The error of the loss."""
    for criterion in criteria:
        if criterion.get("name") == "loss_error":
            value = criterion.get("value")
            measured = measured_of("loss_error", criterion, value, of_weights=True)
            if measured is not None:
                yield measured._replace(expected_loss=finite(results.get("expected_loss")))


def readings(criteria: Sequence[Said], results: Said) -> tuple[tuple[Any, ...], int]:
    """Two, of masses: a displayed loss is one figure with steps of its own, of which the scatter
    is not known."""
    values = tuple(
        (criterion.get("load"), criterion.get("value"))
        for criterion in criteria
        if criterion.get("name") == "loss_error" and criterion.get("value") is not None
    )
    return values, 2 if values and results.get("evaluated_from") == "masses" else 0
