"""The simulated loss that a perfect balance would give."""

from fractions import Fraction

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Loads, LossLoads, Rehearsal, indication
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.steps import LossSteps


def rehearse(circumstances: Circumstances, loads: Loads) -> tuple[Rehearsal, ...]:
    """One check with both indications and no displayed loss: judged by its masses.

    Raises:
        SenseError: weights are not there, or twice, or without a value, or lighter than half a
            step of the display.
    """
    assert isinstance(loads, LossLoads)  # noqa: S101  the loads of another kind
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
