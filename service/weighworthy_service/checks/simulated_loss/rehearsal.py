"""The simulated loss that a perfect balance would give."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Load, Rehearsal, indication
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.steps import LossSteps


@dataclass(frozen=True, slots=True)
class LossLoads:
    """The weights of a simulated loss, by name, at its start and at its end."""

    initial: Load
    final: Load
    basis: Literal["wet", "dry"] = "wet"
    heating: bool | None = None


def rehearse(circumstances: Circumstances, loads: LossLoads) -> tuple[Rehearsal, ...]:
    """One check with both indications and no displayed loss: judged by its masses.

    Raises:
        SenseError: weights are not there, or twice, or without a value, or lighter than half a
            step of the display.
    """
    initial, final = (
        Loading(load, indication(load, circumstances), stable=True)
        for load in (loads.initial, loads.final)
    )
    check = SimulatedLossCheck(
        circumstances, initial, final, basis=loads.basis, heating=loads.heating
    )
    steps = LossSteps(
        initial=Fraction(circumstances.mass(loads.initial)),
        final=Fraction(circumstances.mass(loads.final)),
        basis=loads.basis,
        repeatability=float(circumstances.instrument.repeatability or 0),
    )
    return (Rehearsal(check, loads.initial, steps),)
