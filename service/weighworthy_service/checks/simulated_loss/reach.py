"""How far from a result a simulated loss may lie and still speak for it (common practice, no
source).

What is read as a change of zero goes with 1/I0, so the check's initial mass must not be more than
twice, nor less than half the result's; what goes in proportion to the loss grows with it, so the
loss must not be above twice the check's. There is no lower end: what goes with the loss is less for
a smaller one, and the rest hardly depends on it.
"""

from collections.abc import Sequence
from typing import Final

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.reach import Reach
from weighworthy_service.checks.simulated_loss.faults import seen

_FACTOR: Final = 2


def reach(criteria: Sequence[Said], results: Said) -> Reach:
    """Around the mass and the loss that the answer tells."""
    saw = seen(results, criteria[0] if criteria else {})
    mass, loss = saw.mass, saw.reported
    return Reach(
        None if mass is None else mass / _FACTOR,
        None if mass is None else mass * _FACTOR,
        None if loss is None else loss * _FACTOR,
    )
