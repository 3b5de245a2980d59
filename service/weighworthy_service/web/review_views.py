"""What a profile says and what it is worth: review and resolve."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, time
from fractions import Fraction
from typing import Any, Final

from flask import Response, request
from marshmallow import ValidationError

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.limit_words import listed
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.rehearsal import Loads
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.weights import ReferenceWeight, by_name
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.explain import explain
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.profiles.review import review
from weighworthy_service.profiles.review_answer import (
    failed_review,
    resolution_document,
    review_document,
    unreadable_review,
)
from weighworthy_service.profiles.source import Source, TomlUnreadable, read_toml
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import BOTH, asked_profile, best_type, kind_of, loaded
from weighworthy_service.web.json import parse, read_body, read_json
from weighworthy_service.web.review_form import ReviewRequestForm
from weighworthy_service.web.room import heavy, heavy_if_large
from weighworthy_service.web.views import JSON_TYPE, json_response
from weighworthy_service.wire.card import MAX_TOML
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.request import loads_in
from weighworthy_service.wire.review import ResolveRequestForm

TOML_TYPE: Final = "application/toml"
# Loads on instruments in one review: each takes about as long as ten checks, and a worker waits.
MAX_JUDGED: Final = 400
_REVIEW: Final = ReviewRequestForm()
_RESOLVE: Final = ResolveRequestForm()
# Of the day, only the date is looked at.
_NOON: Final = time(12, tzinfo=UTC)


def views(known: Known) -> Views:
    """The addresses of review and resolution."""
    profiles = known.profiles

    @heavy
    def reviewed() -> Response:
        best_type((JSON_TYPE,))
        try:
            stated = loaded(_REVIEW, _body())
            sittings, loads = _asked(stated)
            source = _source(stated)
        except TomlUnreadable as error:
            return json_response(unreadable_review(error))
        if source is None:
            profile = asked_profile(stated, profiles, stated.get("performed_on"))
        else:
            try:
                profile = find_profile(dict(source.document), profiles)
            except ValidationError as error:
                return json_response(failed_review(source, field_errors(error.messages)))
            except ProfileNotUsable as error:
                return json_response(failed_review(source, from_flaws(error.flaws)))
        spread = stated.get("spread")
        found = review(profile, sittings, loads, None if spread is None else Fraction(spread))
        return json_response(review_document(profile, source, found, sittings))

    @heavy_if_large
    def resolved() -> Response:
        best_type((JSON_TYPE,))
        stated = loaded(_RESOLVE, read_json(request))
        kind = kind_of(stated["check"])
        if "stage" in stated and not kind.staged:
            said = f"only {listed([k.slug for k in KINDS if k.staged])} checks have stages"
            raise refusal_of("invalid", [FieldError("/stage", "not-for-check", said)])
        weights, load = _weights(stated), tuple(stated.get("load") or ())
        circumstances = Circumstances(stated["instrument"], weights, method=stated.get("method"))
        _refuse_if_any(circumstances.flaws([(("load",), load)]))
        profile: Profile = asked_profile(stated, profiles, stated.get("performed_on"))
        settings = explain(
            profile,
            kind,
            stated.get("stage"),
            circumstances,
            circumstances.nominal(load) if load else None,
        )
        return json_response(resolution_document(profile, _source(stated), settings))

    return {"profiles_review": reviewed, "profiles_resolve": resolved}


def _body() -> Any:
    """The body as JSON; TOML stands for a request that states nothing but the profile."""
    if request.mimetype != TOML_TYPE:
        return parse(read_body(request, (JSON_TYPE, TOML_TYPE)))
    raw = read_body(request, (TOML_TYPE,), MAX_TOML)
    try:
        return {"profile_toml": raw.decode()}
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise TomlUnreadable(line, f"byte {error.start} is not UTF-8") from None


def _source(stated: Mapping[str, Any]) -> Source | None:
    """The profile that was sent along; None: it was named.

    Raises:
        TomlUnreadable: it is a text that is no TOML.
        Refusal: it was given twice.
    """
    reference, toml = stated.get("profile"), stated.get("profile_toml")
    if toml is None:
        return Source(reference) if isinstance(reference, dict) else None
    if reference is not None:
        raise refusal_of("invalid", [FieldError("/profile_toml", "contradiction", BOTH)])
    return Source(read_toml(toml), toml)


def _asked(stated: Mapping[str, Any]) -> tuple[list[Circumstances], dict[str, Loads]]:
    """Every balance with the weights at hand, and the loads."""
    weights, loads = _weights(stated), stated.get("loads") or {}
    day = stated.get("performed_on")
    _refuse_too_much(stated.get("instruments") or (), loads)
    sittings = [
        Circumstances(
            instrument,
            weights,
            environment=stated.get("environment") or Environment(),
            method=stated.get("method"),
            performed_at=None if day is None else datetime.combine(day, _NOON),
        )
        for instrument in stated.get("instruments") or ()
    ]
    named = loads_in(_REVIEW.fields["loads"], loads, ("loads",))
    # Names and weights are the same for all balances; without one they are looked at all the same.
    for circumstances in sittings[:1]:
        _refuse_if_any(circumstances.flaws(named))
    return sittings, loads


def _refuse_too_much(instruments: Sequence[Any], loads: Mapping[str, Any]) -> None:
    each = sum(len(given) if isinstance(given, tuple) else 1 for given in loads.values())
    if len(instruments) * each > MAX_JUDGED:
        said = (
            f"{len(instruments)} instruments with {each} loads each are too much for one review, "
            f"which judges at most {MAX_JUDGED}: split the instruments over several"
        )
        raise refusal_of("invalid", [FieldError("/instruments", "too-many", said)])


def _weights(stated: Mapping[str, Any]) -> dict[str, ReferenceWeight]:
    return by_name(stated.get("weights") or {})


def _refuse_if_any(flaws: Iterator[Flaw]) -> None:
    errors = from_flaws(flaws)
    if errors:
        raise refusal_of("invalid", errors)
