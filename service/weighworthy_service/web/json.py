"""Reading a JSON body strictly: what two programs could understand differently is refused."""

import json
from collections import Counter
from collections.abc import Sequence
from typing import Any, Final, NoReturn

from werkzeug.exceptions import ClientDisconnected
from werkzeug.wrappers import Request

from weighworthy_service.web.refusal import Refusal

MAX_BODY: Final = 1024 * 1024
MAX_DEPTH: Final = 32


def read_json(request: Request, limit: int = MAX_BODY) -> Any:
    """The JSON value of a request's body of at most `limit` bytes.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`, `malformed-json`.
    """
    return parse(read_body(request, ("application/json",), limit))


def read_body(request: Request, types: Sequence[str], limit: int = MAX_BODY) -> bytes:
    """A request's body, of one of these media types and at most `limit` bytes, to the last byte.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`; `malformed-json` if it
            ends too early.
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
    try:
        # Without a size: with one, the stream may give less than there is.
        raw: bytes = request.stream.read()
    except ClientDisconnected:
        raise Refusal("malformed-json", "the body ends before its stated length") from None
    return raw


def parse(raw: bytes) -> Any:
    """The value of a JSON text in UTF-8.

    Raises:
        Refusal: `malformed-json`, saying where reading stopped.
    """
    if not raw.strip():
        raise Refusal("malformed-json", "the body is empty")
    if raw.startswith(b"\xef\xbb\xbf"):
        raise Refusal("malformed-json", "the body begins with a byte order mark")
    try:
        value = json.loads(raw.decode(), object_pairs_hook=_object, parse_constant=_constant)
    except UnicodeDecodeError as error:
        raise Refusal("malformed-json", f"byte {error.start} is not UTF-8") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise Refusal("malformed-json", f"{where}: {error.msg}") from None
    except RecursionError:
        raise Refusal("malformed-json", f"nested deeper than {MAX_DEPTH} levels") from None
    except ValueError:
        # What is left is an integer of thousands of digits, which Python refuses to convert.
        raise Refusal("malformed-json", "a number has too many digits") from None
    _check(value)
    return value


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        times = Counter(name for name, _ in pairs)
        twice = next(name for name in value if times[name] > 1)
        raise Refusal("malformed-json", f"the key {twice[:64]!r} occurs twice in one object")
    return value


def _constant(name: str) -> NoReturn:
    raise Refusal("malformed-json", f"{name} is not a JSON number")


def _check(value: Any) -> None:
    """Refuse depth, and halves of surrogate pairs, which no UTF-8 text can hold."""
    level, depth = [value], 1
    while level:
        below: list[Any] = []
        for one in level:
            if isinstance(one, str):
                _encodable(one)
            elif isinstance(one, list | dict):
                if depth > MAX_DEPTH:
                    raise Refusal("malformed-json", f"nested deeper than {MAX_DEPTH} levels")
                below += one
                if isinstance(one, dict):
                    below += one.values()
        level, depth = below, depth + 1


def _encodable(text: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise Refusal("malformed-json", "half of a surrogate pair stands alone") from None


def to_bytes(document: Any) -> bytes:
    """The one way documents are written: compact, in UTF-8, same document same bytes."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode()
