"""Findings on a simulated loss that rest on figures, reckoned by hand."""

from decimal import Decimal

from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import ascending, largest, upwards
from weighworthy_service.checks.explaining.inputs import Inputs, reading, setting
from weighworthy_service.checks.explaining.judging import Limited
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.remarks import FAR
from weighworthy_service.checks.terms import Terms


def explain_reasons(
    inputs: Inputs,
    check: SimulatedLossCheck,
    terms: Terms,
    reasons: Reasons,
    *,
    expected: Figure,
    limited: Limited | None,
) -> None:
    """Where the check began, how near the loads it was read, how large load and loss are."""
    for name, part in (("initial", check.initial), ("final", check.final)):
        _far(inputs, name, part, reasons)
    load = inputs.nominal(check.initial.load)
    window, required = terms.start_window, terms.validity.scatter_at_most
    if window is not None:
        start: Formula = load
        if check.initial.indication is not None:
            start = reading("I0", check.initial.indication, "initial", "indication")
        target = setting("target", window.target, "start_window.target")
        allowance = setting("allowance", window.allowance, "start_window.allowance")
        inside = ascending(abs(start - target), allowance)
        reasons.unless("start-load-off-window", inside, "/initial/indication")
    if limited is not None:
        sides = [abs(side) for side in limited.limits if side is not None]
        swallowed = ascending(abs(expected), largest(*sides))
        reasons.when("loss-within-tolerance", swallowed, "/final/load")
    if required is not None and check.circumstances.instrument.repeatability is not None:
        floor = setting("floor", required.floor, "validity.scatter_at_most.floor")
        share = setting("share", required.share, "validity.scatter_at_most.share")
        s = inputs.instrument("s", "repeatability")
        scatter = largest(s, floor * inputs.instrument("d", "scale_interval"))
        enough = ascending(200 * scatter, share * load)
        reasons.unless("net-mass-too-small", enough, "/initial/load")
        said = reasons.said("net-mass-too-small", "/initial/load")
        if said:
            least, what = upwards(200 * scatter / share, 3), "smallest load that can be weighed so"
            inputs.sheet.step(what, "least", least, "g", gives=said)


def explain_display(
    inputs: Inputs,
    check: SimulatedLossCheck,
    reasons: Reasons,
    *,
    from_masses: Figure | None,
    slopes: tuple[Figure, Figure, Figure],
) -> None:
    """Whether rounding explains how far the displayed loss is from the masses."""
    instrument = check.circumstances.instrument
    if check.displayed_loss is None or from_masses is None or instrument.loss_interval is None:
        return
    shown = reading("D", check.displayed_loss, "displayed_loss")
    step: Formula = inputs.instrument("step", "loss_interval")
    reach = step if instrument.loss_rounding == "down" else step / 2
    initial, final, common = slopes
    d = inputs.instrument("d", "scale_interval")
    hidden = reach + (abs(initial) + abs(final) + abs(common)) * (d / 2)
    explained = ascending(abs(shown - from_masses), hidden)
    reasons.unless("displayed-disagrees", explained, "/displayed_loss")


def _far(inputs: Inputs, name: str, part: Loading, reasons: Reasons) -> None:
    load = inputs.nominal(part.load)
    if part.indication is None:
        reasons.of_a_reading(load, f"/{name}/load")
        return
    shown = reading("I", part.indication, name, "indication")
    share = formula(Decimal(FAR.numerator) / FAR.denominator)
    near = ascending(abs(shown - load), share * load)
    reasons.unless("indication-far-from-load", near, f"/{name}/indication")
    reasons.of_a_reading(shown, f"/{name}/indication")
