"""Refusals as problem documents, and the page that each kind of problem has."""

import errno
import logging
from collections.abc import Iterable
from typing import Final

from flask import Flask, Response, abort, g
from werkzeug.exceptions import HTTPException

from weighworthy_service.evidence.pages import policy, render
from weighworthy_service.json_text import to_bytes
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.room import Overloaded
from weighworthy_service.wire.coded import FieldError
from weighworthy_service.wire.problem import PROBLEMS, problem_document

PROBLEM_TYPE: Final = "application/problem+json"
_LOG: Final = logging.getLogger("weighworthy_service")
# What a full folder, or a file that may not grow, says to who writes.
_FULL: Final = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)
_UNTIL_SPACE: Final = 30
_BY_STATUS: Final = {
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    411: "length-required",
    413: "too-large",
    415: "unsupported-media-type",
}


def problem(slug: str, detail: str, errors: Iterable[FieldError] = ()) -> Response:
    """The response that tells a refusal."""
    g.problem = slug
    document = problem_document(slug, detail, g.request_id, errors)
    response = Response(to_bytes(document), PROBLEMS[slug].status, content_type=PROBLEM_TYPE)
    if slug in ("key-missing", "key-not-allowed"):
        response.headers["WWW-Authenticate"] = "Bearer"
    return response


def register_problems(app: Flask) -> None:
    """Every error of the application becomes a problem document."""
    app.register_error_handler(Refusal, lambda e: problem(e.slug, e.detail, e.errors))
    app.register_error_handler(Overloaded, _overloaded)
    app.register_error_handler(OSError, _from_system)
    app.register_error_handler(HTTPException, _from_http)
    app.register_error_handler(Exception, _unexpected)
    app.add_url_rule("/problems/<slug>", "problem_page", _page)


def _overloaded(error: Overloaded) -> Response:
    response = problem(error.slug, error.detail)
    response.headers["Retry-After"] = str(error.retry_after)
    return response


def _from_system(error: OSError) -> Response:
    if error.errno not in _FULL:
        return _unexpected(error)
    told = "request %s: the spool takes no more: %s"
    _LOG.error(told, g.request_id, error, extra={"request_id": g.request_id})
    said = "there is no space left for bodies of this size; nothing was judged"
    return _overloaded(Overloaded(said, _UNTIL_SPACE))


def _from_http(error: HTTPException) -> Response:
    slug = _BY_STATUS.get(error.code or 500)
    if slug is None:
        return _unexpected(error)
    allowed = next((value for name, value in error.get_headers() if name == "Allow"), None)
    detail = f"it takes {allowed}" if allowed else PROBLEMS[slug].title
    response = problem(slug, detail)
    if allowed:
        response.headers["Allow"] = allowed
    return response


def _unexpected(error: Exception) -> Response:
    extra = {"request_id": g.request_id}
    _LOG.error("request %s failed", g.request_id, exc_info=error, extra=extra)
    return problem("internal", PROBLEMS["internal"].title)


def _page(slug: str) -> Response:
    if slug not in PROBLEMS:
        abort(404)
    kind = PROBLEMS[slug]
    page = render(
        "problem", status=kind.status, slug=kind.slug, title=kind.title, advice=kind.advice
    )
    headers = {"Content-Security-Policy": policy("problem")}
    return Response(page, headers=headers, content_type="text/html; charset=utf-8")
