"""The span check that a perfect balance would give."""

from collections.abc import Sequence

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Load, Rehearsal, indication
from weighworthy_service.checks.span.check import Round, SpanCheck, Stage

_STAGES: tuple[Stage, ...] = ("as-found", "as-found", "adjustment", "as-left", "as-left")


def rehearse(circumstances: Circumstances, loads: Sequence[Load]) -> tuple[Rehearsal, ...]:
    """A check for each load: two rounds as found, an adjustment, two rounds as left.

    Raises:
        SenseError: a load names weights that are not there, or twice, or weights without a value.
    """
    return tuple(Rehearsal(_check(circumstances, load), load) for load in loads)


def _check(circumstances: Circumstances, load: Load) -> SpanCheck:
    nought = indication((), circumstances)
    shown = indication(load, circumstances)
    rounds = (
        Round(stage) if stage == "adjustment" else Round(stage, load, nought, shown, nought, True)
        for stage in _STAGES
    )
    return SpanCheck(circumstances, tuple(rounds))
