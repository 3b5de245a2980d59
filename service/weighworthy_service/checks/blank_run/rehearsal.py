"""The blank run that a perfect balance would give."""

from dataclasses import dataclass
from decimal import Decimal

from weighworthy_service.checks.blank_run.check import BlankRunCheck, PanRun
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Rehearsal


@dataclass(frozen=True, slots=True)
class UsualSample:
    """The sample that runs stand for; its mass in g."""

    sample_mass: Decimal


def rehearse(circumstances: Circumstances, sample: UsualSample) -> tuple[Rehearsal, ...]:
    """One hot run without any change.

    Raises:
        SenseError: the sample is heavier than what the balance can hold.
    """
    nought, hot = Decimal(0), Decimal(105)
    run = PanRun(nought, nought, chamber_temperature=hot, stable=True)
    return (Rehearsal(BlankRunCheck(circumstances, (run,), sample.sample_mass), ()),)
