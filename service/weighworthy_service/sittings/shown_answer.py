"""What a sitting says of its losses, and its second evaluation, as documents."""

from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.sittings.evidence_answer import shortly, shown_document
from weighworthy_service.sittings.feeding import Effect, Fed, Feeding
from weighworthy_service.sittings.judged import JudgedCheck
from weighworthy_service.sittings.overall import figure, overall
from weighworthy_service.sittings.shown import LinearityOf, LossShown


def loss_document(loss: LossShown) -> dict[str, Any]:
    """A loss as the sitting shows it."""
    criterion = loss.criterion
    return {
        "index": loss.judged.index,
        "check": loss.judged.kind.slug,
        "criterion": criterion.key,
        "value": number(criterion.value),
        "expanded_uncertainty": number(criterion.expanded_uncertainty),
        "unit": criterion.unit,
        "loads": [number(load) for load in loss.loads],
        "constant_gain": _gain(loss),
        "linearity": [_linearity(loss, one) for one in loss.linearity],
    }


def _gain(loss: LossShown) -> dict[str, Any] | None:
    if loss.gain is None:
        return None
    low, high = loss.gain.sight.size
    start = float(loss.loads[0])
    where = f"{loss.gain.sight.criterion} of check {loss.gain.index + 1} ({loss.gain.check})"
    fails = " and fails itself" if loss.gain.fails else ""
    return {
        **shown_document(loss.gain),
        "passes": not loss.gain.fails,
        "mass_from": number(low * start),
        "mass_to": number(high * start),
        "loss": 0,
        "message": (
            f"{where}{fails} leaves a constant gain between {shortly(low)} and {shortly(high)}: at "
            f"{loss.loads[0]:f} g from {shortly(low * start)} g to {shortly(high * start)} g of a "
            "mass, and nothing of a loss in percent, in which it cancels; a gain that changes "
            "during a run is not bounded by it"
        ),
    }


def _linearity(loss: LossShown, one: LinearityOf) -> dict[str, Any]:
    criterion = loss.criterion
    low, high = one.departure.sight.size
    start, end = loss.loads
    row = one.budget[-1] if len(one.budget) > len(criterion.budget) else None
    return {
        **shown_document(one.departure),
        "departure": number(one.departure.sight.value),
        "effect": number(one.effect),
        "effect_expanded_uncertainty": number(one.expanded),
        "row": None
        if row is None
        else {
            "source": row.source,
            "distribution": row.distribution,
            "standard_uncertainty": number(row.standard_uncertainty),
            "unit": row.unit,
            "sensitivity": number(row.sensitivity),
            "contribution": number(row.contribution),
            "degrees_of_freedom": None,
        },
        "expanded_uncertainty": number(one.allowed),
        "verdict": one.verdict,
        "message": (
            f"by check {one.departure.index + 1} ({one.departure.check}) the curve departs by "
            f"{shortly(one.departure.sight.value)} g (from {shortly(low)} g to {shortly(high)} g) "
            f"at {end:f} g from the line through zero and {start:f} g, which makes "
            f"{shortly(one.effect)} {criterion.unit} of a loss there; with that as an allowance U "
            f"is {figure(one.allowed)} {criterion.unit} instead of "
            f"{figure(criterion.expanded_uncertainty)} {criterion.unit}"
        ),
    }


def fed_document(fed: Fed | None, version: str, *, short: bool) -> dict[str, Any] | None:
    """The second evaluation; None: there is none."""
    if fed is None:
        return None
    said = overall(fed.judged)
    return {
        "verdict": said.verdict,
        "verdict_if_valid": said.if_valid,
        "usable": said.usable,
        "feedings": [_feeding(one) for one in fed.feedings],
        "answers": [
            {"index": one.index, "answer": one.answer(version, short=short)}
            for one in fed.judged
            if one.index in fed.changed
        ],
    }


def _feeding(one: Feeding) -> dict[str, Any]:
    names = ", ".join(f"instrument.{name} = {_said(v)}" for name, v in one.offer.given.items())
    message = (
        f"{names}, from check {one.offer.source.index + 1} ({one.offer.source.kind.slug}) to check "
        f"{one.target.index + 1} ({one.target.kind.slug}), whose request does not state it"
    )
    if one.refused is not None:
        message = f"{message}: cannot be taken, {one.refused}"
    return {
        "from": one.offer.source.index,
        "to": one.target.index,
        "fields": one.offer.given,
        "effects": [_effect(effect) for effect in one.effects],
        "refused": one.refused,
        "message": message,
    }


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{name} = {below}" for name, below in value.items()) + "}"
    return str(value)


def _effect(effect: Effect) -> dict[str, Any]:
    before, after = (_criterion(one, effect.key) for one in (effect.before, effect.after))
    return {
        "criterion": effect.key,
        "unit": before.unit,
        "expanded_uncertainty": number(before.expanded_uncertainty),
        "expanded_uncertainty_fed": number(after.expanded_uncertainty),
        "verdict": before.verdict,
        "verdict_fed": after.verdict,
    }


def _criterion(one: JudgedCheck, key: str) -> Criterion:
    return next(c for c in one.evaluation.criteria if c.key == key)
