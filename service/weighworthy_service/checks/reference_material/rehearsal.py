"""The check with a reference material that a perfect analyser would give."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.reference_material.check import (
    Material,
    MaterialRun,
    ReferenceMaterialCheck,
)
from weighworthy_service.checks.rehearsal import Rehearsal
from weighworthy_service.metrology.quantity import EXACT


@dataclass(frozen=True, slots=True)
class UsualMaterial:
    """The material and how it is weighed in: g, and % of that."""

    initial_mass: Decimal
    stated_loss: Decimal
    standard_uncertainty: Decimal | None = None
    number_of_runs: int = 3


def rehearse(circumstances: Circumstances, usual: UsualMaterial) -> tuple[Rehearsal, ...]:
    """Runs on wet basis that lose what is stated, in steps of the display.

    Raises:
        SenseError: the loss leaves nothing.
    """
    step = circumstances.instrument.scale_interval
    left = Fraction(usual.initial_mass) * (1 - Fraction(usual.stated_loss) / 100)
    initial, final = (
        EXACT.multiply(Decimal(round(mass / Fraction(step))), step)
        for mass in (Fraction(usual.initial_mass), left)
    )
    material = Material(usual.stated_loss, standard_uncertainty=usual.standard_uncertainty)
    runs = (MaterialRun(max(initial, step), final, stable=True),) * usual.number_of_runs
    return (Rehearsal(ReferenceMaterialCheck(circumstances, material, runs), ()),)
