"""The bench card."""

from collections.abc import Mapping
from typing import Any, Final

from flask import Response, request
from marshmallow import ValidationError

from weighworthy_service.checks.circumstances import OCCASIONS
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.evidence.card_page import card_page, page_policy
from weighworthy_service.evidence.card_text import card_text
from weighworthy_service.json_document import pointer
from weighworthy_service.profiles.card import card_of
from weighworthy_service.profiles.card_check import CARD_LOADS, card_request
from weighworthy_service.profiles.card_readings import READINGS
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import asked_profile, best_type, kind_of, loaded
from weighworthy_service.web.json import read_json
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import JSON_TYPE, VERSION, json_response
from weighworthy_service.wire.card import CardRequestForm
from weighworthy_service.wire.coded import FieldError, field_errors

TYPES: Final = (JSON_TYPE, "text/html", "text/plain")
_FORM: Final = CardRequestForm()
_LOADS: Final = ("load", "initial", "final", "basis", "heating")


def views(known: Known) -> Views:
    """The address of the bench card."""
    profiles = known.profiles

    @heavy
    def card() -> Response:
        media_type = best_type(TYPES)
        document = read_json(request)
        stated = loaded(_FORM, document)
        kind = kind_of(stated["check"])
        if kind.slug not in READINGS:
            said = f"there is no bench card of a {kind.slug} check"
            raise refusal_of("invalid", [FieldError("/check", "not-one-of", said)])
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
    """The check that the card is about, as its own form reads it."""
    errors = [
        FieldError(pointer(name), "not-for-check", f"a {kind.slug} check has no {name}")
        for name in _LOADS
        if stated.get(name) is not None and name not in CARD_LOADS[kind.slug].taken
    ]
    errors += [
        FieldError(pointer(name), "required", f"a {kind.slug} check needs {name}")
        for name in CARD_LOADS[kind.slug].needed
        if stated.get(name) is None
    ]
    if kind.slug == "span" and len(stated.get("load") or ()) > 1:
        errors.append(FieldError("/load", "too-many", "a span check has one load"))
    occasion = stated.get("occasion")
    if occasion is not None and occasion not in OCCASIONS:
        said = f"must be one of: {', '.join(OCCASIONS)}"
        errors.append(FieldError("/occasion", "not-one-of", said))
    if errors:
        raise refusal_of("invalid", errors)
    asked = card_request(kind, document, stated)
    try:
        return kind.form.load(asked).check
    except ValidationError as error:
        errors = field_errors(error.messages)
    except SenseError as error:
        errors = from_flaws(error.flaws)
    raise refusal_of("invalid", [_moved(error) for error in errors])


def _moved(error: FieldError) -> FieldError:
    """A fault of the check at the place where the card's own body has it."""
    parts = error.pointer.split("/")
    match parts[1:]:
        case ["rounds", _, "load", *rest]:
            return FieldError("/".join(["", "load", *rest]), error.code, error.detail)
        case ["points", position, "load", *rest]:
            return FieldError("/".join(["", "load", position, *rest]), error.code, error.detail)
        case ["initial" | "final" as name, "load", *rest]:
            return FieldError("/".join(["", name, *rest]), error.code, error.detail)
    return error
