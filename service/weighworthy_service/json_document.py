"""What all layers need of JSON documents: pointers into them, and digests of what they say."""

import hashlib
import json
import re
from typing import Any, Final

import rfc8785

# Keys can come from outside: one of a megabyte must not come back in every message.
_MAX_KEY: Final = 64

_PLAIN: Final = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))
_BEYOND: Final = re.compile("[\U00010000-\U0010ffff]")
_MOST: Final = 2**53


def pointer(*path: str | int) -> str:
    """The JSON pointer (RFC 6901) of a path of keys and positions; endless keys are cut."""
    return "".join("/" + _token(str(part)) for part in path)


def pointer_parts(json_pointer: str) -> list[str]:
    """The keys and positions of a JSON pointer (RFC 6901), each as it is named."""
    return [part.replace("~1", "/").replace("~0", "~") for part in json_pointer.split("/")[1:]]


def without_nulls(value: Any) -> Any:
    """The document with the null members of its objects left out: null is the same as none."""
    if isinstance(value, dict):
        return {
            name: below if isinstance(below, str) else without_nulls(below)
            for name, below in value.items()
            if below is not None
        }
    if isinstance(value, list):
        return [without_nulls(below) for below in value]
    return value


def digest(document: Any) -> str:
    """`sha256:` over the RFC 8785 bytes of a document of JSON types without its null members."""
    return "sha256:" + hashlib.sha256(canonical(without_nulls(document))).hexdigest()


def canonical(document: Any) -> bytes:
    """The RFC 8785 bytes of a document of JSON types.

    The standard library writes the same ones, and quicker, of all but floats, whose shortest form
    differs, whole numbers that no double holds, and keys beyond the basic plane, whose order
    differs. A request has none of them.
    """
    if _is_plain(document):
        text = _PLAIN.encode(document)
        if text.isascii() or not _BEYOND.search(text):
            return text.encode()
    return rfc8785.dumps(document)


def _is_plain(value: Any) -> bool:
    if isinstance(value, str):
        return True
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        # Texts, by far the most, are told without a call.
        return all(map(_is_plain, [below for below in value if not isinstance(below, str)]))
    return value is None or (isinstance(value, int) and abs(value) < _MOST)


def _token(part: str) -> str:
    short = part if len(part) <= _MAX_KEY else part[:_MAX_KEY] + "…"
    return short.replace("~", "~0").replace("/", "~1")
