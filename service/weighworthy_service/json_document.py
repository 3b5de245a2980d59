"""What all layers need of JSON documents: pointers into them, and digests of what they say."""

import hashlib
from typing import Any, Final

import rfc8785

# Keys can come from outside: one of a megabyte must not come back in every message.
_MAX_KEY: Final = 64


def pointer(*path: str | int) -> str:
    """The JSON pointer (RFC 6901) of a path of keys and positions; endless keys are cut."""
    return "".join("/" + _token(str(part)) for part in path)


def without_nulls(value: Any) -> Any:
    """The document with the null members of its objects left out: null is the same as none."""
    if isinstance(value, dict):
        return {name: without_nulls(below) for name, below in value.items() if below is not None}
    if isinstance(value, list):
        return [without_nulls(below) for below in value]
    return value


def digest(document: Any) -> str:
    """`sha256:` over the RFC 8785 bytes of a document of JSON types without its null members."""
    return "sha256:" + hashlib.sha256(rfc8785.dumps(without_nulls(document))).hexdigest()


def _token(part: str) -> str:
    short = part if len(part) <= _MAX_KEY else part[:_MAX_KEY] + "…"
    return short.replace("~", "~0").replace("/", "~1")
