"""The bench card of one check of one balance: what to put on, and between what it passes.

Nothing here decides anything: ranges come from evaluating, settings from the profile.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

from weighworthy_service.checks.answer import ENGINE_REVISION, number
from weighworthy_service.checks.bench.reasons import sentence
from weighworthy_service.checks.bench.scan import Band, CardReading
from weighworthy_service.checks.bench.words import amount, on_display
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Criterion, Evaluation
from weighworthy_service.checks.terms import AtLeast, Terms
from weighworthy_service.metrology.limits import Basis, NotResolvedError
from weighworthy_service.profiles import card_words as words
from weighworthy_service.profiles.card_check import card_part, loads_of, readings_of
from weighworthy_service.profiles.card_outlook import outlook, spoilt
from weighworthy_service.profiles.card_plain import CAUTION, plain_steps
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.settings import written_settings


def card_of(
    kind: Kind, check: Any, profile: Profile, *, version: str, performed_on: date | None = None
) -> dict[str, Any]:
    """The card as a document, from which page and text are made.

    `check` gives circumstances and loads; its readings do not matter. Without `performed_on` the
    card is for the last day on which all weights used are in date.

    Raises:
        ProfileNotUsable: rules that only meet here contradict each other.
    """
    terms = terms_for(profile, kind.slug, check.circumstances)
    check = _as_required(kind, check, terms, performed_on)
    readings = readings_of(kind, _undated(check), terms)
    seen = outlook(kind, check, terms, readings)
    if seen.spoils is not None:
        readings = tuple(spoilt(reading, seen.spoils) for reading in readings)
    written = {
        name: setting.form
        for name, setting in written_settings(profile, kind, None, check.circumstances).items()
    }
    circumstances = check.circumstances
    used = circumstances.on(_used(kind, check))
    identity = profile.identity
    return {
        "check": kind.slug,
        "title": kind.title,
        "profile": {"id": identity.id, "revision": identity.revision, "digest": identity.digest},
        "profile_title": profile.title,
        "engine": {"name": "weighworthy", "version": version, "revision": ENGINE_REVISION},
        "instrument": _instrument(check),
        "method": circumstances.method,
        "occasion": circumstances.occasion,
        "basis": getattr(check, "basis", None),
        "performed_on": _iso(performed_on),
        "valid_until": _iso(_valid_until(used, profile)),
        "weights": [
            {
                "name": weight.name,
                "nominal": amount(weight.nominal, "g"),
                "weight_class": weight.weight_class,
                "certificate": weight.certificate,
                "due_on": _iso(weight.due_on),
            }
            for weight in used
        ],
        "can_pass": seen.at_best == "pass",
        "at_best": seen.at_best,
        "usable": seen.usable,
        "spoils": seen.spoils,
        "obstacles": list(seen.obstacles),
        "remedies": list(seen.remedies),
        "conditions": list(words.conditions(terms, used, _counts(kind, terms), performed_on)),
        "steps": _steps(kind, check, terms, readings),
        "readings": [_reading(kind, reading, check) for reading in readings],
        "combined": list(_combined(kind, check, terms)),
        "use_on": list(terms.use_on),
        "schedule": words.schedule(written.get("schedule")),
        "response": words.response(written.get("response")),
        "cautions": words.cautions(card_part(kind).caution or CAUTION),
        "warnings": [w for w in _warnings(seen.evaluation) if w["message"] not in seen.obstacles],
    }


def _as_required(kind: Kind, check: Any, terms: Terms, performed_on: date | None) -> Any:
    """The check as if done when and after warming up as it should be."""
    circumstances = check.circumstances
    dues = [w.due_on for w in circumstances.on(_used(kind, check)) if w.due_on is not None]
    day = performed_on or min(dues, default=None)
    warm_up = terms.validity.warm_up
    return replace(
        check,
        circumstances=replace(
            circumstances,
            performed_at=None if day is None else datetime.combine(day, time(12), UTC),
            warm_up=None if warm_up is None else warm_up.at_least,
        ),
    )


def _undated(check: Any) -> Any:
    """The check on no certain day: whether weights are in date does not hang on a display."""
    return replace(check, circumstances=replace(check.circumstances, performed_at=None))


def _used(kind: Kind, check: Any) -> list[str]:
    """Names of the weights of all loads, each once."""
    return list(dict.fromkeys(name for load in loads_of(kind, check) for name in load))


def _valid_until(used: Sequence[Any], profile: Profile) -> date | None:
    ends = [weight.due_on for weight in used] + [profile.effective_to]
    return min((end for end in ends if end is not None), default=None)


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _instrument(check: Any) -> dict[str, Any]:
    instrument = check.circumstances.instrument
    capacity, step = instrument.capacity, instrument.loss_interval
    return {
        "id": instrument.id,
        "model": instrument.model,
        "site": instrument.site,
        "scale_interval": amount(instrument.scale_interval, "g"),
        "loss_interval": None if step is None else amount(step, "%"),
        "capacity": None if capacity is None else amount(capacity, "g"),
    }


def _counts(kind: Kind, terms: Terms) -> tuple[str, int] | None:
    """How many of what the kind counts there must be."""
    for setting in kind.settings:
        required = getattr(terms.validity, setting.removeprefix("validity."), None)
        if isinstance(required, AtLeast):
            return words.COUNTED[setting.removeprefix("validity.")], int(required.at_least)
    return None


def _steps(
    kind: Kind, check: Any, terms: Terms, readings: Sequence[CardReading]
) -> list[dict[str, Any]]:
    found = []
    said = plain_steps(kind, check)
    if (steps := card_part(kind).steps) is not None:
        said = steps(check, terms, any(reading.reading == "indication" for reading in readings))
    for text, names in said:
        places = [i for i, reading in enumerate(readings) if reading.reading in names]
        # A step that only announces a reading says nothing without it.
        if places or not text.endswith(":"):
            found.append({"text": text, "readings": places})
    return found


def _reading(kind: Kind, reading: CardReading, check: Any) -> dict[str, Any]:
    def shown(value: Decimal | None) -> str | None:
        return None if value is None else on_display(value, reading.step, reading.unit)

    def band(of: Band) -> dict[str, Any]:
        ends = {"from": shown(of.first), "to": shown(of.last)}
        return {"verdict": of.verdict, "usable": of.usable, **ends}

    return {
        "reading": reading.reading,
        "title": _title(kind, reading.reading),
        "stage": reading.stage,
        "load": list(reading.load),
        "nominal": amount(check.circumstances.nominal(reading.load), "g"),
        "given": None if reading.given is None else on_display(reading.given, reading.step, "g"),
        "required": reading.required,
        "bands": [band(of) for of in reading.bands],
        "messages": list(reading.messages),
        "elsewhere": list(reading.elsewhere),
        "criterion": _figures(reading.criterion),
        "criterion_as_left": _figures(reading.criterion_as_left),
    }


def _title(kind: Kind, name: str) -> str:
    return card_part(kind).titles.get(name, name.replace("_", " "))


def _figures(criterion: Criterion | None) -> dict[str, Any] | None:
    if criterion is None:
        return None
    return {
        "name": criterion.name,
        "lower_limit": number(criterion.lower_limit),
        "upper_limit": number(criterion.upper_limit),
        "unit": criterion.unit,
        "expanded_uncertainty": number(criterion.expanded_uncertainty),
        "decision_rule": criterion.decision_rule,
        "limit_source": criterion.limit_source,
    }


def _combined(kind: Kind, check: Any, terms: Terms) -> Iterator[dict[str, Any]]:
    """Limits on what follows from several readings together: only an evaluation can tell."""
    instrument, card = check.circumstances.instrument, card_part(kind)
    for criterion in kind.criteria:
        of_reading = card.ranges is not None and criterion.name not in card.titles
        if of_reading or criterion.name not in terms.limits:
            continue
        limit = terms.limits[criterion.name].limit
        seen = set()
        loads = {check.circumstances.nominal(load) for load in loads_of(kind, check)}
        for load in sorted(loads) or [Decimal(0)]:
            try:
                on_pan = load if criterion.on_pan else None
                interval = limit.at(Basis(instrument, on_pan, criterion.unit))
            except NotResolvedError:
                continue
            ends = None if interval is None else (interval.lower, interval.upper)
            if ends is not None and ends not in seen:
                seen.add(ends)
                yield {
                    "criterion": criterion.name,
                    "title": _title(kind, criterion.name),
                    "from_load": amount(load, "g"),
                    "lower_limit": None if ends[0] is None else amount(ends[0], criterion.unit),
                    "upper_limit": None if ends[1] is None else amount(ends[1], criterion.unit),
                    "required": not limit.when_present,
                }


def _warnings(evaluation: Evaluation | None) -> list[dict[str, str]]:
    """What the person responsible should know of the limits and the budget, each once."""
    if evaluation is None:
        return []
    found: Mapping[str, str] = {
        finding.code: sentence(finding, evaluation)
        for finding in reversed(evaluation.findings)
        if finding.severity == "warning"
    }
    return [{"code": code, "message": message} for code, message in sorted(found.items())]
