"""JSON texts, read strictly: what two programs could understand differently is refused."""

import json
from collections import Counter
from typing import Any, Final, NoReturn

MAX_DEPTH: Final = 32
# Made once, as the decoder below: making one takes longer than most of what it writes.
_ENCODER: Final = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"))


class MalformedJsonError(ValueError):
    """A text that is not JSON as it is taken here; the message says where reading stopped."""


def parse(raw: bytes) -> Any:
    """The value of a JSON text in UTF-8.

    Raises:
        MalformedJsonError: saying where reading stopped.
    """
    if not raw.strip():
        raise MalformedJsonError("the body is empty")
    if raw.startswith(b"\xef\xbb\xbf"):
        raise MalformedJsonError("the body begins with a byte order mark")
    try:
        value = _DECODER.decode(raw.decode())
    except MalformedJsonError:
        raise
    except UnicodeDecodeError as error:
        raise MalformedJsonError(f"byte {error.start} is not UTF-8") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise MalformedJsonError(f"{where}: {error.msg}") from None
    except RecursionError:
        raise MalformedJsonError(f"nested deeper than {MAX_DEPTH} levels") from None
    except ValueError:
        # What is left is an integer of thousands of digits, which Python refuses to convert.
        raise MalformedJsonError("a number has too many digits") from None
    # Going through all of a small text takes longer than reading it. Without more brackets than
    # levels it is not too deep, and without an escape it holds no half of a pair.
    if raw.count(b"[") + raw.count(b"{") > MAX_DEPTH or b"\\u" in raw:
        _check(value)
    return value


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        times = Counter(name for name, _ in pairs)
        twice = next(name for name in value if times[name] > 1)
        raise MalformedJsonError(f"the key {twice[:64]!r} occurs twice in one object")
    return value


def _constant(name: str) -> NoReturn:
    raise MalformedJsonError(f"{name} is not a JSON number")


_DECODER: Final = json.JSONDecoder(object_pairs_hook=_object, parse_constant=_constant)


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
                    raise MalformedJsonError(f"nested deeper than {MAX_DEPTH} levels")
                below += one
                if isinstance(one, dict):
                    below += one.values()
        level, depth = below, depth + 1


def _encodable(text: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise MalformedJsonError("half of a surrogate pair stands alone") from None


def to_bytes(document: Any) -> bytes:
    """The one way documents are written: compact, in UTF-8, same document same bytes."""
    return _ENCODER.encode(document).encode()
