"""What a simulated loss would reveal, reckoned by hand: (A + t·u_r)/|c| for each fault."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

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
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.reveals import PROBABILITY
from weighworthy_service.metrology.budget import SETTLED_DIGITS, STATED_DIGITS

_OWN = ("digitisation", "repeatability")


def explain_reveals(
    inputs: Inputs,
    check: SimulatedLossCheck,
    lines: Sequence[Mapping[str, Any]],
    by_fault: Mapping[str, Formula],
    *,
    found: Reckoned,
    limited: Limited | None,
) -> None:
    """Each line of `lines` that has figures; `by_fault`: sensitivities, in % per unit."""
    sheet = inputs.sheet
    threshold = None
    if limited is not None and any(line["smallest"] is not None for line in lines):
        threshold = _threshold(inputs, found, limited)
    for k, line in enumerate(lines):
        if line["sensitivity"] is None:
            continue
        at, fault, unit = f"/results/reveals/{k}", line["fault"], line["unit"]
        of = _curvature(inputs, check) if fault == "curvature" else by_fault[fault]
        per = "%" if unit == "1" else f"%/{unit}"
        what = f"sensitivity of the loss to {fault}"
        c = sheet.step(what, "c", of, per, gives=[f"{at}/sensitivity"], shown=FLOAT_DIGITS)
        if line["smallest"] is not None:
            assert threshold is not None  # noqa: S101  no size without it
            what, least = f"smallest {fault} that shows with 95 % probability", threshold / abs(c)
            gives = [f"{at}/smallest"]
            smallest = sheet.step(what, "x", least, unit, gives=gives, shown=FLOAT_DIGITS)
            said = upwards(half_even(smallest, SETTLED_DIGITS), STATED_DIGITS)
            sheet.step(
                f"{what}, as the sentence says it", "x_said", said, unit, gives=[f"{at}/message"]
            )


def _threshold(inputs: Inputs, found: Reckoned, limited: Limited) -> Figure:
    """A + t·u_r in %: the larger acceptance limit, and what scatters from reading to reading."""
    sheet, guard = inputs.sheet, limited.guard
    sides: list[Formula] = [formula(0)]
    if limited.upper is not None:
        sides.append(limited.upper if guard is None else limited.upper - guard)
    if limited.lower is not None:
        sides.append(-limited.lower if guard is None else -(limited.lower + guard))
    accepted = sheet.step("acceptance limit farther from zero", "A", largest(*sides), "%")
    own = [part for part in found.parts if part.source.startswith(_OWN)]
    scatter = sheet.step(
        "standard uncertainty of what differs from reading to reading",
        "u_r",
        root([part.contribution for part in own]),
        "%",
    )
    estimated = [part.contribution**4 / part.degrees for part in own if part.degrees is not None]
    degrees = None
    if estimated:
        what = "its effective degrees of freedom"
        degrees = sheet.step(what, "nu_r", scatter**4 / total(estimated), "1")
    t = sheet.step(
        "one-sided 95 % quantile", "t", quantile(formula(Decimal(repr(PROBABILITY))), degrees), "1"
    )
    return sheet.step("loss that shows", "A_r", accepted + t * scatter, "%")


def _curvature(inputs: Inputs, check: SimulatedLossCheck) -> Formula:
    """-4·m·L(1 - L)/Max² per g of bow, in %; L as a fraction."""
    start = inputs.mass(check.initial.load).named("m_start")
    end = inputs.mass(check.final.load).named("m_end")
    capacity = inputs.instrument("Max", "capacity")
    left = inputs.sheet.step("share of the load that is left", "left", end / start, "1")
    wet = -400 * start * (1 - left) * left / capacity**2
    return wet if check.basis == "wet" else wet / left**2
