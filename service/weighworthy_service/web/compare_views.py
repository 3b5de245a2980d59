"""What differs between two profiles or certificates, for balances and for past checks."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import Response, request
from marshmallow import ValidationError

from weighworthy_service.json_document import pointer
from weighworthy_service.json_text import to_bytes
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.weights import ReferenceWeight, by_name
from weighworthy_service.profiles.compare import (
    Compared,
    compared_settings,
    named_methods,
    unreached,
)
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.profiles.replay import Side, replay
from weighworthy_service.profiles.replay_answer import verdicts_document
from weighworthy_service.profiles.source import Source, read_toml
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import asked_profile, best_type, loaded
from weighworthy_service.web.json import read_json
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import JSON_TYPE, json_response
from weighworthy_service.wire.coded import FieldError
from weighworthy_service.wire.compare import MAX_INSTRUMENTS, SPLIT, CompareForm
from weighworthy_service.wire.request import InstrumentForm

# Past checks of a site for some months.
MAX_BODY: Final = 8 * 1024 * 1024
# About as many seconds of work as thousands of them.
MAX_SCENES: Final = 5000
_FORM: Final = CompareForm()
_INSTRUMENT: Final = InstrumentForm()
_SIDES: Final = ("before", "after")
_NOT_COMPARED: Final[tuple[list[Any], dict[str, Any]]] = ([], {"before": [], "after": []})


def views(known: Known) -> Views:
    """The address of the comparison."""
    profiles = known.profiles

    @heavy
    def compare() -> Response:
        best_type((JSON_TYPE,))
        stated = loaded(_FORM, _body())
        sides = {name: stated[name] for name in _SIDES}
        requests, part = stated.get("requests") or (), stated.get("part")
        weights = _weights(sides)
        compared = {name: _compared(name, stated, profiles) for name in _SIDES}
        settings, not_reached = _NOT_COMPARED
        if part != "verdicts":
            settings, not_reached = _settings(stated, compared, requests)
        verdicts = None
        if requests and part != "settings":
            before, after = (
                Side(None if (one := compared[name]) is None else one.profile, weights[name])
                for name in _SIDES
            )
            met = {w for asked in requests for w in _names(asked)}
            unmet = {name: sorted(set(weights[name]) - met) for name in _SIDES}
            verdicts = verdicts_document(tuple(replay(requests, before, after, profiles)), unmet)
        return json_response(
            {"settings": settings, "rules_not_reached": not_reached, "verdicts": verdicts}
        )

    return {"profiles_compare": compare}


def _body() -> Any:
    try:
        return read_json(request, MAX_BODY)
    except Refusal as refusal:
        if refusal.slug != "too-large":
            raise
        raise Refusal(refusal.slug, f"{refusal}: {SPLIT}") from None


def _compared(name: str, stated: Mapping[str, Any], profiles: ProfileSet) -> Compared | None:
    side = stated[name]
    toml, reference = side.get("profile_toml"), side.get("profile")
    if toml is None and reference is None:
        return None
    profile = asked_profile(side, profiles, stated.get("performed_on"), (name,))
    if toml is not None:
        return Compared(profile, Source(read_toml(toml), toml))
    return Compared(profile, Source(reference) if isinstance(reference, dict) else None)


def _weights(sides: Mapping[str, Any]) -> dict[str, dict[str, ReferenceWeight]]:
    """The weights of each side; a weight that cannot be is refused before anything is judged."""
    weights = {side: by_name(sides[side].get("weights") or {}) for side in _SIDES}
    errors = [
        FieldError(pointer(side, "weights", name, leaf), code, detail)
        for side in _SIDES
        for name, weight in weights[side].items()
        for leaf, code, detail in weight.flaws()
    ]
    if errors:
        raise refusal_of("invalid", errors)
    return weights


def _settings(
    stated: Mapping[str, Any],
    compared: Mapping[str, Compared | None],
    requests: Sequence[Mapping[str, Any]],
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    before, after = compared["before"], compared["after"]
    if before is None or after is None:
        return _NOT_COMPARED
    instruments = stated.get("instruments") or _instruments(requests)
    if not instruments:
        said = "name balances, or past requests that do: limits depend on the balance"
        raise refusal_of("invalid", [FieldError("/instruments", "required", said)])
    methods = _methods(stated, requests, before, after)
    loads = stated.get("loads") or ()
    if (scenes := len(instruments) * (1 + len(methods)) * max(1, len(loads))) > MAX_SCENES:
        said = f"{scenes} balances times methods times loads; at most {MAX_SCENES} are compared"
        raise refusal_of("invalid", [FieldError("", "too-many", said)])
    rows = compared_settings(before, after, instruments, methods=methods, loads=loads)
    return rows, {
        "before": unreached(before, instruments, methods),
        "after": unreached(after, instruments, methods),
    }


def _instruments(requests: Sequence[Mapping[str, Any]]) -> list[Instrument]:
    """The balances of the requests, each once; a request whose balance cannot be read is refused
    where it is judged."""
    found: dict[Instrument, None] = {}
    # Reading one by its form takes longer than telling that it was there already.
    written = {to_bytes(balance): balance for r in requests if (balance := r.get("instrument"))}
    for balance in written.values():
        try:
            found[_INSTRUMENT.load(balance)] = None
        except ValidationError:
            continue
        if len(found) == MAX_INSTRUMENTS:
            break
    return list(found)


def _methods(
    stated: Mapping[str, Any], requests: Sequence[Mapping[str, Any]], *sides: Compared
) -> list[str]:
    """The methods to compare for, each once: those asked for, of past checks, and of rules."""
    return list(
        dict.fromkeys(
            [
                *(stated.get("methods") or ()),
                *(m for asked in requests if isinstance(m := asked.get("method"), str)),
                *(name for side in sides for name in named_methods(side.profile)),
            ]
        )
    )


def _names(asked: Mapping[str, Any]) -> list[str]:
    weights = asked.get("weights")
    return list(weights) if isinstance(weights, dict) else []
