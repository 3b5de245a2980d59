"""What is followed over time: bias and scatter, by the stated loss of the material."""

from collections.abc import Iterator, Sequence

from weighworthy_service.checks.as_found import Measured, finite, of_single_values
from weighworthy_service.checks.faults import Said


def as_found(criteria: Sequence[Said], results: Said) -> Iterator[Measured]:
    """Both, each of a material of that loss."""
    expected = finite(results.get("stated_loss"))
    for measured in of_single_values(criteria):
        yield measured._replace(expected_loss=expected)
