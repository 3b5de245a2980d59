"""Reading a JSON body strictly: what two programs could understand differently is refused."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

from werkzeug.exceptions import ClientDisconnected
from werkzeug.http import parse_options_header
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
    environ, length = request.environ, request.content_length
    if _media_type(environ.get("CONTENT_TYPE", "")) not in [(one, "utf-8") for one in types]:
        wanted = " or ".join(types)
        raise Refusal("unsupported-media-type", f"send Content-Type: {wanted}, in UTF-8")
    if environ.get("HTTP_CONTENT_ENCODING", "identity").lower() != "identity":
        raise Refusal("unsupported-media-type", "send the body without Content-Encoding")
    # Without a stated length the server below may cut a body silently at its limit.
    if length is None or "HTTP_TRANSFER_ENCODING" in environ:
        raise Refusal("length-required", "send the body with Content-Length")
    if length > limit:
        raise Refusal("too-large", f"at most {limit} bytes are taken")
    # What is there already needs no watch, which would cost a thread.
    body: Any = environ.get("wsgi.input")
    if at_hand(body):
        raw: bytes = body.read(length)
    else:
        seconds = environ.get(SECONDS, USUAL)
        with deadline(environ, seconds, "upload") as passed:
            raw = _all_of(request)
        if len(raw) < length and passed:
            raise Refusal("too-slow", f"the body was not there within {seconds} s")
    if len(raw) < length:
        raise Refusal("malformed-json", "the body ends before its stated length")
    return raw


# Clients send the same few.
@lru_cache(maxsize=64)
def _media_type(content_type: str) -> tuple[str, str]:
    """Of a header: the type, and the encoding of its characters, in lower case."""
    name, parameters = parse_options_header(content_type)
    return name.lower(), parameters.get("charset", "utf-8").lower()


def _all_of(request: Request) -> bytes:
    """The body as far as it comes."""
    try:
        # Without a size: with one, the stream may give less than there is.
        raw: bytes = request.stream.read()
    except (ClientDisconnected, OSError):
        return b""
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
