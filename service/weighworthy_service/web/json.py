"""Reading a JSON body strictly: what two programs could understand differently is refused."""

from collections.abc import Sequence
from contextlib import ExitStack
from typing import Any, Final

from werkzeug.exceptions import ClientDisconnected
from werkzeug.wrappers import Request

from weighworthy_service import json_text
from weighworthy_service.json_text import MalformedJsonError
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.patience import SECONDS, USUAL, at_hand
from weighworthy_service.web.spool import deadline

MAX_BODY: Final = 1024 * 1024


def read_json(request: Request, limit: int = MAX_BODY) -> Any:
    """The JSON value of a request's body of at most `limit` bytes.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`, `too-slow`,
            `malformed-json`.
    """
    return parse(read_body(request, ("application/json",), limit))


def read_body(request: Request, types: Sequence[str], limit: int = MAX_BODY) -> bytes:
    """A request's body, of one of these media types and at most `limit` bytes, to the last byte.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`, `too-slow`;
            `malformed-json` if it ends too early.
    """
    charset = request.mimetype_params.get("charset", "utf-8")
    if request.mimetype not in types or charset.lower() != "utf-8":
        wanted = " or ".join(types)
        raise Refusal("unsupported-media-type", f"send Content-Type: {wanted}, in UTF-8")
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise Refusal("unsupported-media-type", "send the body without Content-Encoding")
    # Without a stated length the server below may cut a body silently at its limit.
    if request.content_length is None or "Transfer-Encoding" in request.headers:
        raise Refusal("length-required", "send the body with Content-Length")
    if request.content_length > limit:
        raise Refusal("too-large", f"at most {limit} bytes are taken")
    seconds = request.environ.get(SECONDS, USUAL)
    # What is there already needs no watch, which would cost a thread.
    there = at_hand(request.environ.get("wsgi.input"))
    with ExitStack() as stack:
        passed = None
        if not there:
            passed = stack.enter_context(deadline(request.environ, seconds, "upload"))
        try:
            # Without a size: with one, the stream may give less than there is.
            raw: bytes = request.stream.read()
        except (ClientDisconnected, OSError):
            raw = b""
    if len(raw) < request.content_length:
        if passed:
            raise Refusal("too-slow", f"the body was not there within {seconds} s")
        raise Refusal("malformed-json", "the body ends before its stated length")
    return raw


def parse(raw: bytes) -> Any:
    """The value of a JSON text in UTF-8.

    Raises:
        Refusal: `malformed-json`, saying where reading stopped.
    """
    try:
        return json_text.parse(raw)
    except MalformedJsonError as error:
        raise Refusal("malformed-json", str(error)) from None
