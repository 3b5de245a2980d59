"""What a reader must know of a check with a reference material besides the verdict."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.reference_material.check import ReferenceMaterialCheck
from weighworthy_service.checks.reference_material.losses import Losses
from weighworthy_service.checks.terms import Severity, Terms
from weighworthy_service.checks.validity import (
    Observed,
    count_findings,
    reading_findings,
    settled,
    sitting_findings,
)
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.quantity import EXACT

_DUE: Final = pointer("material", "due_on")


def remarks(losses: Losses, bias: Judged, terms: Terms) -> list[Finding]:
    """All findings but those on the judged figures."""
    check = losses.check
    return [
        *_of_readings(check, terms),
        *sitting_findings(check.circumstances, (), terms),
        *count_findings(losses.n, terms.validity.runs, "runs", "/runs"),
        *_of_the_material(check),
        *_in_date(check, terms.validity.weights_in_date),
        *_of_the_scatter(losses),
        *_of_the_bias(losses, bias),
        *_of_the_losses(losses),
    ]


def _of_readings(check: ReferenceMaterialCheck, terms: Terms) -> Iterator[Finding]:
    for i, run in enumerate(check.runs):
        if run.initial_mass is None or run.final_mass is None:
            yield from settled(("runs", i), run.stable, terms.validity.stable)
            step = check.circumstances.instrument.loss_interval
            if step is not None and EXACT.remainder(run.displayed_loss or Decimal(0), step):
                message = "the displayed loss is no multiple of the step in which it is displayed"
                place = pointer("runs", i, "displayed_loss")
                yield Finding("displayed-off-loss-interval", "warning", message, place)
            continue
        observed = [
            Observed(("runs", i, name), value, ("runs", i), run.stable)
            for name, value in (("initial_mass", run.initial_mass), ("final_mass", run.final_mass))
        ]
        yield from reading_findings(observed, check.circumstances, terms)
        if run.displayed_loss is not None:
            message = "the loss of this run comes from its masses; the displayed one is not judged"
            place = pointer("runs", i, "displayed_loss")
            yield Finding("displayed-not-used", "note", message, place)


def _of_the_material(check: ReferenceMaterialCheck) -> Iterator[Finding]:
    material = check.material
    if material.uncertainty is None:
        message = (
            "no uncertainty of the stated loss is stated and none is guessed: that of the bias is "
            "a lower bound"
        )
        place = pointer("material", "expanded_uncertainty")
        yield Finding("material-uncertainty-not-stated", "warning", message, place)
    elif material.expanded_uncertainty is not None and material.coverage_factor is None:
        message = "the coverage factor of the stated loss is taken as 2"
        place = pointer("material", "coverage_factor")
        yield Finding("coverage-factor-assumed", "note", message, place)
    if material.certificate is None:
        message = "no certificate of the stated loss is named: the value of the lot counts"
        yield Finding("certificate-not-stated", "note", message, pointer("material", "certificate"))
    instrument = check.circumstances.instrument
    if instrument.hot_zero_correction is not None or instrument.hot_zero_drift is not None:
        message = (
            "what a hot run does to the zero is part of the bias found: neither hot_zero_drift nor "
            "hot_zero_correction is taken out of it"
        )
        yield Finding("heat-in-bias", "note", message, "/instrument")


def _in_date(check: ReferenceMaterialCheck, required: Severity | None) -> Iterator[Finding]:
    """As of weights: the day itself is still in date, where the check was done."""
    material, performed = check.material, check.circumstances.performed_at
    opened = material.opened_on
    if opened is not None and performed is not None and performed.date() < opened:
        message = "the material was opened only after the check was done"
        place = pointer("material", "opened_on")
        yield Finding("opened-after-check", "warning", message, place)
    if material.due_on is None:
        message = "until when the material may be used is not stated"
        yield Finding("not-stated", required or "note", message, _DUE)
    elif performed is None:
        message = "without performed_at nobody can tell whether the material was in date"
        yield Finding("not-stated", required or "note", message, "/performed_at")
    elif performed.date() > material.due_on:
        message = f"the material was to be used until {material.due_on}"
        yield Finding("material-overdue", required or "void", message, _DUE)


def _of_the_scatter(losses: Losses) -> Iterator[Finding]:
    if losses.pooled is None:
        message = (
            "one run tells no scatter, and none is stated of earlier ones: the uncertainty of the "
            "bias is a lower bound"
        )
        yield Finding("scatter-not-known", "warning", message, "/spread")
    elif losses.check.spread is not None:
        message = "the scatter of earlier runs counts for the uncertainty of the bias"
        yield Finding("earlier-scatter-pooled", "note", message, "/spread")
    if losses.variance == 0:
        message = (
            "all losses are equal: rounding hides what scatter there is, so that neither it nor "
            "its interval is known"
        )
        yield Finding("scatter-not-seen", "warning", message, "/runs")


def _of_the_bias(losses: Losses, bias: Judged) -> Iterator[Finding]:
    assert bias.expanded is not None  # noqa: S101  it has a value
    if abs(losses.bias) > bias.expanded:
        side = "less" if losses.bias < 0 else "more"
        message = _MEANS[side]
        yield Finding("bias-significant", "warning", message, "/runs")


_MEANS: Final = {
    "less": "less is lost than stated, by more than the uncertainty explains: a chamber too cold, "
    "a drying too short, a crust, or a balance whose zero rises",
    "more": "more is lost than stated, by more than the uncertainty explains: a chamber too hot, "
    "a decomposition, spattering, a damp sample, or a balance whose zero falls",
}


def _of_the_losses(losses: Losses) -> Iterator[Finding]:
    for i, found in enumerate(losses.found):
        if found < 0:
            message = "more at the end than at the start: the loss is negative"
            yield Finding("loss-negative", "warning", message, pointer("runs", i))
