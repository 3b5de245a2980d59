"""A balance is checked up to the load: heavier ones may scatter more; losses do not matter."""

from collections.abc import Sequence

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import figure
from weighworthy_service.checks.reach import Reach, up_to


def reach(_criteria: Sequence[Said], results: Said) -> Reach:
    """Up to the load that was put on."""
    return up_to(figure(results, "load"))
