"""The smallest fault that shows, reckoned by hand: (A + t·u_r)/|c|."""

from decimal import Decimal

from weighworthy_service.checks.explaining.budget import Reckoned, root
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import (
    half_even,
    largest,
    quantile,
    total,
    upwards,
)
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.explaining.judging import Limited
from weighworthy_service.checks.explaining.sheet import FLOAT_DIGITS
from weighworthy_service.checks.shows import PROBABILITY
from weighworthy_service.metrology.budget import SETTLED_DIGITS, STATED_DIGITS


def threshold_of(
    inputs: Inputs, found: Reckoned, limited: Limited, *, own: tuple[str, ...], unit: str
) -> Figure:
    """A + t·u_r: the larger acceptance limit, and what scatters from reading to reading.

    `own`: how the sources of such rows begin.
    """
    sheet, guard = inputs.sheet, limited.guard
    sides: list[Formula] = [formula(0)]
    if limited.upper is not None:
        sides.append(limited.upper if guard is None else limited.upper - guard)
    if limited.lower is not None:
        sides.append(-limited.lower if guard is None else -(limited.lower + guard))
    accepted = sheet.step("acceptance limit farther from zero", "A", largest(*sides), unit)
    mine = [part for part in found.parts if part.source.startswith(own)]
    scatter = sheet.step(
        "standard uncertainty of what differs from reading to reading",
        "u_r",
        root([part.contribution for part in mine]),
        unit,
    )
    estimated = [part.contribution**4 / part.degrees for part in mine if part.degrees is not None]
    degrees = None
    if estimated:
        of_it = "its effective degrees of freedom"
        degrees = sheet.step(of_it, "nu_r", scatter**4 / total(estimated), "1")
    t = sheet.step(
        "one-sided 95 % quantile", "t", quantile(formula(Decimal(repr(PROBABILITY))), degrees), "1"
    )
    return sheet.step("shift that shows", "A_r", accepted + t * scatter, unit)


def explain_smallest(inputs: Inputs, fault: str, least: Formula, unit: str | None, at: str) -> None:
    """The smallest fault of a line of `reveals` that stands at a place of the answer."""
    sheet, what = inputs.sheet, f"smallest {fault} that shows with 95 % probability"
    gives = [f"{at}/smallest"]
    smallest = sheet.step(what, "x", least, unit, gives=gives, shown=FLOAT_DIGITS)
    said = upwards(half_even(smallest, SETTLED_DIGITS), STATED_DIGITS)
    what = f"{what}, as the sentence says it"
    sheet.step(what, "x_said", said, unit, gives=[f"{at}/message"])
