"""A balance is checked at its load; differences at others are taken as in proportion to them."""

from collections.abc import Sequence

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import figure
from weighworthy_service.checks.reach import Reach, up_to


def reach(_criteria: Sequence[Said], results: Said) -> Reach:
    """Up to the load that was put on."""
    return up_to(figure(results, "load"))
