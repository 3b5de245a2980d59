"""What each address does: read, evaluate, answer. Nothing is decided here."""

from collections.abc import Callable
from functools import partial
from hashlib import sha256
from importlib.metadata import version
from typing import Any, Final

from flask import Flask, Response, current_app, request
from marshmallow import ValidationError

from weighworthy_service.checks.answer import ENGINE_REVISION, answer, request_digest
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.request import CheckRequest
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.document import document_bytes
from weighworthy_service.web.json import read_json, to_bytes
from weighworthy_service.web.refusal import Refusal, from_flaws, refusal_of
from weighworthy_service.wire.coded import FieldError, field_errors

JSON_TYPE: Final = "application/json"
VERSION: Final = version("weighworthy")
# In the configuration of the application: why the last reload was refused, a list of sentences.
NOT_RELOADED: Final = "NOT_RELOADED"
_DETAILS: Final = ("full", "short")


def register_views(app: Flask, profiles: ProfileSet) -> None:
    """The addresses of checks, and what tells whether the process lives."""
    for kind in KINDS:
        app.add_url_rule(
            f"/v1/checks/{kind.slug}",
            f"check_{kind.slug}",
            _judging(kind, profiles),
            methods=["POST"],
        )
    app.add_url_rule("/v1/checks", "checks", _kinds)
    app.add_url_rule("/v1/info", "info", partial(_info, profiles))
    app.add_url_rule("/livez", "livez", _alive)
    app.add_url_rule("/readyz", "readyz", partial(_ready, profiles))
    app.add_url_rule("/openapi.json", "openapi", _openapi)


def json_response(document: Any) -> Response:
    """A document in the one form in which documents are written."""
    return Response(to_bytes(document), content_type=JSON_TYPE)


def _judging(kind: Kind, profiles: ProfileSet) -> Callable[[], Response]:
    def judge() -> Response:
        best_type((JSON_TYPE,))
        short = _detail() == "short"
        document = read_json(request)
        asked, profile = _load(kind, document, profiles)
        terms = terms_for(profile, kind.slug, asked.check.circumstances)
        evaluation = kind.evaluate(asked.check, terms)
        return json_response(
            answer(
                evaluation,
                profile=terms.profile,
                version=VERSION,
                request_digest=request_digest(document, kind.slug),
                labels=asked.labels,
                short=short,
            )
        )

    return judge


def _load(kind: Kind, document: Any, profiles: ProfileSet) -> tuple[CheckRequest, Profile]:
    """The request and the profile it is judged by; all faults of form of both at once."""
    errors: list[FieldError] = []
    asked: CheckRequest | None = None
    try:
        asked = kind.form.load(document)
    except ValidationError as error:
        errors += field_errors(error.messages)
    except SenseError as error:
        errors += from_flaws(error.flaws)
    reference = document.get("profile") if isinstance(document, dict) else None
    performed_at = asked.check.circumstances.performed_at if asked else None
    try:
        profile = find_profile(
            reference if asked or isinstance(reference, dict) else None,
            profiles,
            performed_at.date() if performed_at else None,
        )
    except ValidationError as error:
        errors += field_errors(error.messages, ("profile",))
    except ProfileNotUsable as error:
        if not errors:
            raise _profile_refusal(error) from None
        errors += from_flaws(error.flaws, ("profile",))
    if errors:
        raise refusal_of("invalid", errors)
    assert asked is not None  # noqa: S101  otherwise there were errors
    _check_digest(asked, profile)
    return asked, profile


def _check_digest(asked: CheckRequest, profile: Profile) -> None:
    expected, found = asked.expect_profile_digest, profile.identity.digest
    if expected is not None and expected != found:
        raise Refusal("digest-differs", f"expected {expected}, in force is {found}")


def _profile_refusal(error: ProfileNotUsable) -> Refusal:
    return refusal_of("profile-not-usable", from_flaws(error.flaws, ("profile",)))


def _detail() -> str:
    if errors := parameter_faults({"detail": _DETAILS}):
        raise refusal_of("invalid", errors)
    return request.args.get("detail", "full")


def _kinds() -> Response:
    return json_response(
        {
            "checks": [
                {
                    "check": kind.slug,
                    "title": kind.title,
                    "about": kind.about,
                    "address": f"/v1/checks/{kind.slug}",
                    "criteria": [{"name": c.name, "unit": c.unit} for c in kind.criteria],
                    "example": kind.example["request"],
                }
                for kind in KINDS
            ]
        }
    )


def _info(profiles: ProfileSet) -> Response:
    built_in = find_profile(None, profiles).identity
    return json_response(
        {
            "name": "weighworthy",
            "version": VERSION,
            "engine": {"name": "weighworthy", "version": VERSION, "revision": ENGINE_REVISION},
            "default_profile": {
                "id": built_in.id,
                "revision": built_in.revision,
                "digest": built_in.digest,
            },
            "checks": [kind.slug for kind in KINDS],
        }
    )


def _alive() -> Response:
    return json_response({"status": "ok"})


def _ready(profiles: ProfileSet) -> Response:
    return json_response(
        {
            "status": "ok",
            "profiles": len(profiles.all()),
            # Still ready: what was in force before is whole, and in force.
            "not_reloaded": current_app.config.get(NOT_RELOADED, []),
        }
    )


def _openapi() -> Response:
    body = document_bytes()
    response = Response(body, content_type=JSON_TYPE)
    response.set_etag(sha256(body).hexdigest())
    response.headers["Cache-Control"] = "no-cache"
    response.make_conditional(request)
    return response
