"""The repeatability check that a perfect balance would give."""

from collections.abc import Sequence

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Load, Rehearsal, indication
from weighworthy_service.checks.repeatability.chances import chances
from weighworthy_service.checks.repeatability.check import Placing, RepeatabilityCheck
from weighworthy_service.checks.repeatability.scatter import OBSERVATIONS


def rehearse(circumstances: Circumstances, loads: Sequence[Load]) -> tuple[Rehearsal, ...]:
    """A check for each load, of ten placings.

    Raises:
        SenseError: a load names weights that are not there, or twice.
    """
    by_criterion = chances(circumstances.instrument, OBSERVATIONS)
    return tuple(
        Rehearsal(_check(circumstances, load), load, by_criterion=by_criterion) for load in loads
    )


def _check(circumstances: Circumstances, load: Load) -> RepeatabilityCheck:
    nought = indication((), circumstances)
    placing = Placing(indication(load, circumstances), nought, stable=True)
    return RepeatabilityCheck(circumstances, load, (placing,) * OBSERVATIONS)
