"""Evaluation of a simulated loss: a known part is lifted off, the known loss must be reported."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.conclusion import conclude, in_order, nothing_judged
from weighworthy_service.checks.contributions import (
    Effects,
    Reading,
    Real,
    budget_rows,
    weights_allowance,
)
from weighworthy_service.checks.judging import Computed, Judged, judge
from weighworthy_service.checks.outcome import CriterionName, Evaluation, Finding
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Outcome, outcome
from weighworthy_service.checks.simulated_loss.reveals import reveals
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import (
    Observed,
    reading_findings,
    scatter_findings,
    settled,
    sitting_findings,
)
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.quantity import EXACT

LOSS_ERROR: Final = CriterionName("loss_error", "%")
CRITERIA: Final = (LOSS_ERROR,)


def evaluate(check: SimulatedLossCheck, terms: Terms) -> Evaluation:
    """Judge the loss against the expected loss of the weights."""
    circumstances = check.circumstances
    found = outcome(check)
    effects = _effects(check, found)
    rows = [
        *budget_rows(effects, circumstances, terms.weights_correlation, "%"),
        *_display_rows(check, found),
        *_heat_rows(check, found),
    ]
    nominal = circumstances.nominal(check.initial.load)
    computed = Computed(
        key=LOSS_ERROR.name,
        value=found.error,
        rows=rows,
        weights_error=weights_allowance(effects, circumstances),
        load=nominal,
    )
    judged = judge(LOSS_ERROR, computed, terms, circumstances)
    findings = [
        *judged.findings,
        *_readings(check, terms),
        *_window(check, nominal, terms),
        *scatter_findings(circumstances, nominal, terms.validity.scatter_at_most, "/initial/load"),
        *_displayed(check, found),
        *_heat(check),
        *_too_small(found, judged),
    ]
    verdict, if_valid = conclude([judged.criterion.verdict], findings)
    return Evaluation(
        check="simulated-loss",
        verdict=verdict,
        verdict_as_found=verdict,
        verdict_as_left=verdict,
        verdict_if_valid=if_valid,
        usable=terms.lets_use(verdict),
        criteria=(judged.criterion,),
        results={
            "basis": check.basis,
            "evaluated_from": "displayed-loss" if found.from_masses is None else "masses",
            "loss": found.value,
            "loss_from_masses": found.from_masses,
            "displayed_loss": check.displayed_loss,
            "hot_zero_correction": found.correction,
            "expected_loss": found.expected,
            "error": found.error,
            "initial_mass": circumstances.mass(check.initial.load),
            "final_mass": circumstances.mass(check.final.load),
            "reveals": reveals(check, found, judged, terms),
        },
        findings=in_order([*findings, *nothing_judged(verdict, if_valid)]),
    )


def _effects(check: SimulatedLossCheck, found: Outcome) -> Effects:
    """Both indications refer to one zero, taken before the run."""
    readings: dict[Reading, Real] = {}
    for name, part, slope in (
        ("initial", check.initial, found.at.initial),
        ("final", check.final, found.at.final),
    ):
        nominal = check.circumstances.nominal(part.load)
        readings[Reading(name, nominal, len(part.load))] = float(slope)
    return Effects(readings, {"zero": -float(found.at.common)}, found.weights)


def _display_rows(check: SimulatedLossCheck, found: Outcome) -> Iterator[BudgetRow]:
    if found.from_masses is None:
        width = float(_display_reach(check.circumstances)) * 2
        source = "digitisation of the displayed loss"
        yield BudgetRow(source, "rectangular", width / sqrt(12), "%", 1.0)


def _display_reach(circumstances: Circumstances) -> Fraction:
    """How far a displayed loss may lie from the computed one through its own rounding, in %.

    Half a step; a whole one where the display cuts off, as nobody adds half a step to it.
    """
    instrument = circumstances.instrument
    step = Fraction(instrument.loss_interval or 0)
    return step if instrument.loss_rounding == "down" else step / 2


def _heat_rows(check: SimulatedLossCheck, found: Outcome) -> Iterator[BudgetRow]:
    if check.took_heat is False:
        return
    instrument = check.circumstances.instrument
    slope = float(found.at.final)
    if instrument.hot_zero_drift:
        u = float(instrument.hot_zero_drift) / sqrt(3)
        yield BudgetRow("hot zero drift", "rectangular", u, "g", slope)
    known = instrument.hot_zero_correction
    if known is not None and known.standard_uncertainty:
        u = float(known.standard_uncertainty)
        yield BudgetRow("hot zero correction", "normal", u, "g", -slope)


def _readings(check: SimulatedLossCheck, terms: Terms) -> Iterator[Finding]:
    circumstances = check.circumstances
    parts = (("initial", check.initial), ("final", check.final))
    observed = [
        Observed((name, "indication"), part.indication, (name,), part.stable)
        for name, part in parts
        if part.indication is not None
    ]
    yield from reading_findings(observed, circumstances, terms)
    for name, part in parts:
        # Said of a reading that only the displayed loss stands for: it counts all the same.
        if part.indication is None and part.stable is False:
            yield from settled((name,), part.stable, terms.validity.stable)
    if len(observed) == 1:
        message = "one indication alone gives no loss: the displayed loss is judged without it"
        yield Finding("indication-not-used", "note", message, pointer(*observed[0].place))
    yield from _nominal_overload(check)
    used = list(dict.fromkeys(name for _, part in parts for name in part.load))
    yield from sitting_findings(circumstances, used, terms)
    built_up = any(len(part.load) > 1 for _, part in parts)
    yield from input_remarks(circumstances, used, built_up=built_up, buoyancy=False)


def _nominal_overload(check: SimulatedLossCheck) -> Iterator[Finding]:
    """Where only the display was noted, the weights tell what lay on the pan."""
    capacity = check.circumstances.instrument.capacity
    for name, part in (("initial", check.initial), ("final", check.final)):
        nominal = check.circumstances.nominal(part.load)
        if part.indication is None and capacity is not None and nominal > capacity:
            message = "the nominal load is above the capacity"
            yield Finding("overload", "void", message, f"/{name}/load")


def _too_small(found: Outcome, judged: Judged) -> Iterator[Finding]:
    """A loss that its limits would swallow does not tell a balance from a display that is stuck."""
    interval = judged.interval
    if interval is None:
        return
    sides = [abs(side) for side in (interval.lower, interval.upper) if side is not None]
    if abs(found.expected) <= max(sides):
        message = "the expected loss is no larger than its limit: showing no loss at all would pass"
        yield Finding("loss-within-tolerance", "no-pass", message, "/final/load")


def _window(check: SimulatedLossCheck, nominal: Decimal, terms: Terms) -> Iterator[Finding]:
    window = terms.start_window
    if window is None:
        return
    field = "/initial/indication"
    start = check.initial.indication
    if start is None:
        start = nominal
        message = "without an initial indication the start window is held against the nominal load"
        yield Finding("window-from-nominal", "note", message, field)
    if EXACT.subtract(start, window.target).copy_abs() > window.allowance:
        message = f"the start load lies outside {window.target} g ± {window.allowance} g"
        yield Finding("start-load-off-window", window.otherwise, message, field)


def _displayed(check: SimulatedLossCheck, found: Outcome) -> Iterator[Finding]:
    shown, computed = check.displayed_loss, found.from_masses
    if (computed is not None and computed < 0) or (computed is None and shown and shown < 0):
        field = "/final/indication" if computed is not None else "/displayed_loss"
        message = "more at the end than at the start: the loss is negative"
        yield Finding("loss-negative", "warning", message, field)
    if shown is not None:
        yield from _off_step(shown, check)
    if shown is None or computed is None:
        return
    instrument = check.circumstances.instrument
    if instrument.loss_interval is None:
        message = "without loss_interval the displayed loss is not held against the masses"
        yield Finding("displayed-not-compared", "note", message, "/instrument/loss_interval")
        return
    # The balance computes from unrounded masses; each reading and the zero hide up to d/2.
    at = found.at
    reach = (abs(at.initial) + abs(at.final) + abs(at.common)) * Fraction(instrument.scale_interval)
    if abs(Fraction(shown) - computed) > _display_reach(check.circumstances) + reach / 2:
        message = "the displayed loss and the masses differ by more than rounding can explain"
        yield Finding("displayed-disagrees", "warning", message, "/displayed_loss")


def _off_step(shown: Decimal, check: SimulatedLossCheck) -> Iterator[Finding]:
    step = check.circumstances.instrument.loss_interval
    if step is not None and EXACT.remainder(shown, step) != 0:
        message = "the displayed loss is no multiple of the step in which it is displayed"
        yield Finding("displayed-off-loss-interval", "warning", message, "/displayed_loss")


def _heat(check: SimulatedLossCheck) -> Iterator[Finding]:
    if check.heating is False and check.chamber_rose:
        message = "heating is stated as false, and the chamber grew warmer: taken as heated"
        yield Finding("heating-contradicted", "warning", message, "/heating")
    instrument = check.circumstances.instrument
    declared = instrument.hot_zero_drift is not None or instrument.hot_zero_correction is not None
    if check.took_heat and not declared:
        message = "the chamber was heated, and nothing is stated of what that does to the zero"
        yield Finding("heat-not-in-uncertainty", "warning", message, "/instrument/hot_zero_drift")
