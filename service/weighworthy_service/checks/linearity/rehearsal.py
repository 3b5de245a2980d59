"""The linearity check that a perfect balance would give."""

from collections.abc import Sequence
from decimal import Decimal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.rehearsal import Load, Rehearsal, indication


def rehearse(circumstances: Circumstances, loads: Sequence[Load]) -> tuple[Rehearsal, ...]:
    """A check of each point alone and, where there are several, one of the whole run.

    Raises:
        SenseError: a load names weights that are not there, or twice, or weights without a value.
    """
    each = [Rehearsal(_run(circumstances, [load]), load) for load in loads]
    if len(loads) > 1:
        each.append(Rehearsal(_run(circumstances, loads), ()))
    return tuple(each)


def _run(circumstances: Circumstances, loads: Sequence[Load]) -> LinearityCheck:
    """Up and down again, a zero before each load; of loads with one nominal mass, the first."""
    nought = indication((), circumstances)
    by_nominal = {_nominal(circumstances, load): load for load in reversed(loads)}
    up = [
        Point(load, indication(load, circumstances), nought, "up", stable=True)
        for _, load in sorted(by_nominal.items())
    ]
    down = [Point(p.load, p.indication, nought, "down", stable=True) for p in reversed(up[:-1])]
    return LinearityCheck(circumstances, (*up, *down))


def _nominal(circumstances: Circumstances, load: Load) -> Decimal:
    return circumstances.nominal([name for name in load if name in circumstances.weights])
