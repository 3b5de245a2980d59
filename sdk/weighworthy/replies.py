"""From an HTTP reply to the value or the exception it stands for."""

import string
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from weighworthy.errors import PROBLEMS, FieldError, ProblemError, ProtocolError, slug_of
from weighworthy.results import read_json
from weighworthy.transport import Reply

_EXCERPT = 200
_SPOKEN = {"application/json": "JSON", "text/html": "HTML", "text/plain": "text"}


def refuse(reply: Reply, sent_id: str, wanted: str = "application/json") -> None:
    """Raise `ProblemError` or `ProtocolError` unless the reply has status 200 and this type."""
    request_id = reply.headers.get("x-request-id", sent_id)
    media_type = reply.headers.get("content-type", "").partition(";")[0].strip().lower()
    if reply.status == 200 and media_type == wanted:
        return
    if reply.status >= 400 and media_type == "application/problem+json":
        raise _problem(reply, request_id)
    if 300 <= reply.status < 400:
        target = _host(reply.headers.get("location", ""))
        message = f"a redirect to {target}, which is not followed; correct the URL"
    elif reply.status == 200:
        message = (
            f"not {_SPOKEN.get(wanted, wanted)} but {media_type or 'a body without media type'}, "
            "so it is not from this service; a proxy's login page?"
        )
    else:
        message = f"not an answer of this service ({media_type or 'no media type'})"
    raise ProtocolError(message, reply.status, _excerpt(reply.body), request_id, reply.retry_after)


def json_of(body: bytes, request_id: str | None) -> Any:
    """The body as JSON with numbers as ``Decimal``; raises `ProtocolError`."""
    try:
        return read_json(body)
    except ValueError as error:
        fault = str(error)
    raise ProtocolError(f"broken JSON: {fault}", 200, _excerpt(body), request_id)


def _problem(reply: Reply, request_id: str) -> ProblemError | ProtocolError:
    try:
        problem = read_json(reply.body)
    except ValueError:
        problem = None
    if not isinstance(problem, dict):
        return ProtocolError(
            "a broken problem document", reply.status, _excerpt(reply.body), request_id
        )
    problem_type = _text(problem, "type") or "about:blank"
    errors = problem.get("errors")
    return PROBLEMS.get(slug_of(problem_type), ProblemError)(
        status=reply.status,
        type=problem_type,
        title=_text(problem, "title"),
        detail=_text(problem, "detail"),
        errors=[
            FieldError(_text(e, "pointer"), _text(e, "code"), _text(e, "detail"))
            for e in (errors if isinstance(errors, list) else [])
            if isinstance(e, dict)
        ],
        request_id=request_id,
        retry_after=reply.retry_after,
        problem=problem,
    )


def _text(members: Mapping[str, Any], name: str) -> str:
    value = members.get(name)
    return value if isinstance(value, str) else ""


def _host(location: str) -> str:
    """Only the host: the rest of a login page's address can hold tokens."""
    try:
        return urlsplit(location).hostname or "another path"
    except ValueError:
        return "another place"


def _excerpt(body: bytes) -> str:
    text = " ".join(body[: 4 * _EXCERPT].decode("utf-8", "replace").split())
    return "".join(c if c.isprintable() else "?" for c in text)[:_EXCERPT].strip(string.whitespace)
