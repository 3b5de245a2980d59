"""The check of a display that rests."""

from unrest.check import Reading, UnrestCheck
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Rehearsal, indication


def rehearse(circumstances: Circumstances, loads: None) -> tuple[Rehearsal, ...]:
    """One check, of no load."""
    nought = Reading(indication((), circumstances))
    return (Rehearsal(UnrestCheck(circumstances, (nought, nought)), ()),)
