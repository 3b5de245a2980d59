"""The bench card."""

from collections.abc import Mapping
from typing import Any, Final

from flask import Response, request
from marshmallow import ValidationError

from weighworthy_service.checks.bench.card import Ranges
from weighworthy_service.checks.circumstances import OCCASIONS, Circumstances
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.evidence.card_page import card_page, page_policy
from weighworthy_service.evidence.card_text import card_text
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.weights import by_name
from weighworthy_service.profiles.card import card_of
from weighworthy_service.profiles.card_check import card_part, card_request
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import asked_profile, best_type, kind_of, loaded
from weighworthy_service.web.card_form import CardRequestForm
from weighworthy_service.web.json import read_json
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import JSON_TYPE, VERSION, json_response
from weighworthy_service.wire.card import AskedForm
from weighworthy_service.wire.coded import FieldError, field_errors
from weighworthy_service.wire.containers import ListOf
from weighworthy_service.wire.request import loads_in

TYPES: Final = (JSON_TYPE, "text/html", "text/plain")
_FORM: Final = CardRequestForm()
# Members of a request that only some kinds take.
_OF_ALL: Final = AskedForm().fields.keys() - {"load", "loads"}
_SOME: Final = tuple(name for name in _FORM.fields if name not in _OF_ALL)


def views(known: Known) -> Views:
    """The address of the bench card."""
    profiles = known.profiles

    @heavy
    def card() -> Response:
        media_type = best_type(TYPES)
        document = read_json(request)
        stated = loaded(_FORM, document)
        kind = kind_of(stated["check"])
        check = _check(kind, document, stated)
        performed_on = stated.get("performed_on")
        profile = asked_profile(stated, profiles, performed_on)
        try:
            made = card_of(kind, check, profile, version=VERSION, performed_on=performed_on)
        except ProfileNotUsable as error:
            raise refusal_of("profile-not-usable", from_flaws(error.flaws, ("profile",))) from None
        return _answer(made, media_type)

    return {"profiles_card": card}


def _answer(card: Mapping[str, Any], media_type: str) -> Response:
    if media_type == JSON_TYPE:
        return json_response(card)
    content_type = f"{media_type}; charset=utf-8"
    if media_type == "text/plain":
        return Response(card_text(card), content_type=content_type)
    headers = {"Content-Security-Policy": page_policy()}
    return Response(card_page(card), content_type=content_type, headers=headers)


def _check(kind: Kind, document: Mapping[str, Any], stated: Mapping[str, Any]) -> Any:
    """The check that the card is about, as its own form reads it, or as one that went perfectly."""
    ranges = card_part(kind).ranges
    needed, most = _plain(kind) if ranges is None else (ranges.needed, ranges.most_loads)
    taken = {*needed, *(("load",) if most else ()), *(() if ranges is None else ranges.members)}
    errors = [
        FieldError(pointer(name), "not-for-check", f"a {kind.slug} check has no {name}")
        for name in _SOME
        if stated.get(name) is not None and name not in taken
    ]
    errors += [
        FieldError(pointer(name), "required", f"a {kind.slug} check needs {name}")
        for name in needed
        if stated.get(name) is None
    ]
    if kind.form.fields["weights"].required and stated.get("weights") is None:
        errors.append(FieldError("/weights", "required", "this value is needed"))
    if most == 1 and len(stated.get("load") or ()) > 1:
        errors.append(FieldError("/load", "too-many", f"a {kind.slug} check has one load"))
    occasion = stated.get("occasion")
    if occasion is not None and occasion not in OCCASIONS:
        said = f"must be one of: {', '.join(OCCASIONS)}"
        errors.append(FieldError("/occasion", "not-one-of", said))
    if errors:
        raise refusal_of("invalid", errors)
    if ranges is None:
        return _rehearsed(kind, stated)
    try:
        return kind.form.load(card_request(kind, document, stated)).check
    except ValidationError as error:
        errors = field_errors(error.messages)
    except SenseError as error:
        errors = from_flaws(error.flaws)
    raise refusal_of("invalid", [_moved(error, ranges) for error in errors])


def _plain(kind: Kind) -> tuple[tuple[str, ...], int]:
    """What must be stated for a kind whose card is made from a rehearsal, and how many loads."""
    if kind.loads is None:
        return (), 0
    return (("load",), 1) if isinstance(kind.loads, ListOf) else (("loads",), 0)


def _rehearsed(kind: Kind, stated: Mapping[str, Any]) -> Any:
    """A check that went perfectly."""
    circumstances = Circumstances(
        stated["instrument"],
        by_name(stated.get("weights") or {}),
        environment=stated.get("environment") or Environment(),
        method=stated.get("method"),
        occasion=stated.get("occasion") or "routine",
    )
    loads, place = stated.get("load"), ("load",)
    if kind.loads is not None and loads is None:
        place = ("loads",)
        try:
            loads = kind.loads.deserialize(stated["loads"])
        except ValidationError as error:
            raise refusal_of("invalid", field_errors(error.messages, place)) from None
    on_pan = [(place, load) for _, load in loads_in(kind.loads, loads)] if loads else []
    if errors := from_flaws(circumstances.flaws(on_pan)):
        raise refusal_of("invalid", errors)
    try:
        rehearsals = kind.rehearse(circumstances, loads)
    except SenseError as error:
        faults = [FieldError("/check", flaw.code, flaw.detail) for flaw in error.flaws]
        raise refusal_of("invalid", faults) from None
    if not rehearsals:  # of what nothing can be said before
        said = f"there is no bench card of a {kind.slug} check"
        raise refusal_of("invalid", [FieldError("/check", "not-one-of", said)])
    return rehearsals[0].check


def _moved(error: FieldError, ranges: Ranges) -> FieldError:
    """A fault of the check at the place where the card's own body has it."""
    first, *parts = error.pointer.split("/")
    return FieldError("/".join([first, *ranges.place(parts)]), error.code, error.detail)
