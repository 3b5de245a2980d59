"""Net indications of a load that is put on several times, reckoned by hand."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Protocol

from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import ascending
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.placings import FAR, Net


class _Placed(Protocol):
    @property
    def indication(self) -> Decimal: ...
    @property
    def zero(self) -> Decimal | None: ...


def explain_net(
    inputs: Inputs, reasons: Reasons, placings: Sequence[_Placed], load: Figure, net: Net
) -> Figure:
    """The indication of one placing against its zero, and what is said of both. `load`: nominal."""
    i, at = net.index, f"/placings/{net.index}/indication"
    shown = reading("I", placings[i].indication, "placings", i, "indication")
    reasons.of_a_reading(shown, at)
    of: Formula = shown
    if net.zero is not None:
        zero = placings[net.zero].zero
        assert zero is not None  # noqa: S101  it is the zero of that placing
        before = reading("Z", zero, "placings", net.zero, "zero")
        reasons.of_a_reading(before, f"/placings/{net.zero}/zero")
        of = shown - before
    gives = [f"/results/placings/{i}/net"]
    x = inputs.sheet.step(f"net indication of placing {i}", "x", of, "g", gives=gives)
    share = formula(Decimal(FAR.numerator) / FAR.denominator)
    near = ascending(abs(x - load), share * load)
    reasons.unless("indication-far-from-load", near, at)
    return x
