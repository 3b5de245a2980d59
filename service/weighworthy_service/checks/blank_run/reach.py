"""What a hot run does to the zero, it does whatever lies on the pan and loses."""

from collections.abc import Sequence

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.reach import Reach


def reach(_criteria: Sequence[Said], _results: Said) -> Reach:
    """Any mass and any loss."""
    return Reach(any_loss=True, any_mass=True)
