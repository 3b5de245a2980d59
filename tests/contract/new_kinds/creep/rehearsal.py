"""The check of a balance that does not creep."""

from collections.abc import Sequence
from decimal import Decimal

from creep.check import CreepCheck, Reading
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Load, Rehearsal, indication


def rehearse(circumstances: Circumstances, loads: Sequence[Load]) -> tuple[Rehearsal, ...]:
    """A check of each load."""
    return tuple(Rehearsal(_check(circumstances, load), load) for load in loads)


def _check(circumstances: Circumstances, load: Load) -> CreepCheck:
    shown = indication(load, circumstances)
    read = tuple(Reading(Decimal(at), shown, stable=True) for at in (0, 600))
    return CreepCheck(circumstances, load, read)
