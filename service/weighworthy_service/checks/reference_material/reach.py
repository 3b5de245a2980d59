"""How far from a result a check with a reference material may lie and still speak for it.

As of a simulated loss (common practice, no source): initial masses from half to twice those of its
runs, and losses up to twice the stated one.
"""

from collections.abc import Sequence
from typing import Final

from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import figure, rows
from weighworthy_service.checks.reach import Reach

_FACTOR: Final = 2


def reach(_criteria: Sequence[Said], results: Said) -> Reach:
    """Around masses and loss that the answer tells."""
    stated = figure(results, "stated_loss")
    masses = [figure(row, "initial_mass") for row in rows(results, "runs")]
    known = [mass for mass in masses if mass is not None]
    return Reach(
        min(known) / _FACTOR if known else None,
        max(known) * _FACTOR if known else None,
        None if stated is None else stated * _FACTOR,
    )
