"""What each address does: read, evaluate, answer. Nothing is decided here."""

from collections.abc import Callable
from functools import partial
from hashlib import sha256
from importlib.metadata import version
from typing import Any, Final

from flask import Flask, Response, current_app, g, request
from flask.globals import request_ctx

from weighworthy_service.checks.answer import ENGINE_REVISION, answer
from weighworthy_service.checks.answer_text import answer_text
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.json_text import to_bytes
from weighworthy_service.profiles.finding import find_profile
from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.quick import Single
from weighworthy_service.tables.tally import tally_of_one
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.json import parse, read_body
from weighworthy_service.web.page_asked import HTML, LANGUAGE
from weighworthy_service.web.room import heavy_if_large
from weighworthy_service.wire.coded import FieldError

JSON_TYPE: Final = "application/json"
VERSION: Final = version("weighworthy")
ENGINE: Final = {"name": "weighworthy", "version": VERSION, "revision": ENGINE_REVISION}
# In the configuration of the application: why the last reload was refused, a list of sentences.
NOT_RELOADED: Final = "NOT_RELOADED"
_DETAILS: Final = ("full", "short")
_SWITCH: Final = ("true", "false")


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
    at_hand = AtHand(profiles)
    single = Single(kind, at_hand)

    @heavy_if_large
    def judging() -> Response:
        on_paper = best_type((JSON_TYPE, HTML)) == HTML
        here, short, explain = request_ctx.request, False, False
        if here.environ.get("QUERY_STRING"):
            short, explain = _detail() == "short", _explain(kind)
        raw = read_body(here, (JSON_TYPE,))
        if not (short or explain or on_paper):
            text, verdict, identity = single.said(raw, parse, VERSION)
            g.tally = tally_of_one(kind.slug, verdict, identity.digest)
            return Response(text, content_type=JSON_TYPE)
        document = parse(raw)
        judged, digest = single.judged(document)
        g.tally = tally_of_one(kind.slug, judged.evaluation.verdict, judged.profile.digest)
        write = answer if explain or on_paper else answer_text
        said = write(
            judged.evaluation,
            profile=judged.profile,
            version=VERSION,
            request_digest=digest,
            labels=judged.labels,
            short=short,
        )
        if isinstance(said, bytes):
            return Response(said, content_type=JSON_TYPE)
        if explain:
            from weighworthy_service.evidence.explained import explanation  # noqa: PLC0415

            said["explanation"] = explanation(kind, document, at_hand.find)
        if on_paper:
            from weighworthy_service.web.report_answers import check_report  # noqa: PLC0415

            return check_report(said, document)
        return json_response(said)

    return judging


def _detail() -> str:
    if errors := parameter_faults({"detail": _DETAILS, "explain": _SWITCH, **LANGUAGE}):
        raise refusal_of("invalid", errors)
    return request.args.get("detail", "full")


def _explain(kind: Kind) -> bool:
    if request.args.get("explain", "false") == "false":
        return False
    if kind.explain is None:
        said = f"{kind.slug} checks have no explanation yet"
        raise refusal_of("invalid", [FieldError("", "contradiction", said)])
    if request.args.get("detail") == "short":
        said = "explain=true needs the numbers that detail=short leaves out"
        raise refusal_of("invalid", [FieldError("", "contradiction", said)])
    return True


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
            "engine": ENGINE,
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
    from weighworthy_service.web.document import document_bytes  # noqa: PLC0415

    body = document_bytes()
    response = Response(body, content_type=JSON_TYPE)
    response.set_etag(sha256(body).hexdigest())
    response.headers["Cache-Control"] = "no-cache"
    response.make_conditional(request)
    return response
