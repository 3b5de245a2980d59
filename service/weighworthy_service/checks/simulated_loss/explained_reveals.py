"""What a simulated loss would reveal, reckoned by hand: (A + t·u_r)/|c| for each fault."""

from collections.abc import Mapping, Sequence
from typing import Any

from weighworthy_service.checks.explaining.budget import Reckoned
from weighworthy_service.checks.explaining.formula import Formula
from weighworthy_service.checks.explaining.inputs import Inputs
from weighworthy_service.checks.explaining.judging import Limited
from weighworthy_service.checks.explaining.sheet import FLOAT_DIGITS
from weighworthy_service.checks.explaining.shows import explain_smallest, threshold_of
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck

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
        threshold = threshold_of(inputs, found, limited, own=_OWN, unit="%")
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
            explain_smallest(inputs, fault, threshold / abs(c), unit, at)


def _curvature(inputs: Inputs, check: SimulatedLossCheck) -> Formula:
    """-4·m·L(1 - L)/Max² per g of bow, in %; L as a fraction."""
    start = inputs.mass(check.initial.load).named("m_start")
    end = inputs.mass(check.final.load).named("m_end")
    capacity = inputs.instrument("Max", "capacity")
    left = inputs.sheet.step("share of the load that is left", "left", end / start, "1")
    wet = -400 * start * (1 - left) * left / capacity**2
    return wet if check.basis == "wet" else wet / left**2
