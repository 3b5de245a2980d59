"""What a record is made of, and what its digest and its signature speak of."""

import hashlib
from collections.abc import Mapping
from typing import Any, Final

import rfc8785

from weighworthy_service.evidence.records.keys import SealKeys

RECORD_VERSION: Final = 1
_BESIDE: Final = ("digest", "signature")


class NoCanonicalForm(ValueError):  # noqa: N818  the sender's fault, not one of the program
    """A number that RFC 8785 cannot write: a whole one beyond 2^53, or none that is finite."""


def payload_of(record: Mapping[str, Any]) -> bytes:
    """The RFC 8785 form of a record without `digest` and `signature`: the order of members and
    the way numbers are written make no difference, everything else does.

    Raises:
        NoCanonicalForm: it holds a number that has none.
    """
    content = {name: value for name, value in record.items() if name not in _BESIDE}
    try:
        return rfc8785.dumps(content)
    except (rfc8785.CanonicalizationError, ValueError) as error:
        raise NoCanonicalForm(str(error)) from None


def whole(value: Any) -> Any:
    """A JSON value with its whole numbers as such, also where a store wrote them as 10.0."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        return {name: whole(below) for name, below in value.items()}
    if isinstance(value, list):
        return [whole(below) for below in value]
    return value


def digest_of(payload: bytes) -> str:
    """`sha256:` of a payload."""
    return "sha256:" + hashlib.sha256(payload).hexdigest()


def sealed(
    request: Mapping[str, Any],
    profile: Mapping[str, Any],
    answer: Mapping[str, Any],
    *,
    previous: str | None,
    sealed_at: str,
    keys: SealKeys,
) -> dict[str, Any]:
    """The record of an evaluation, with its digest, and signed where there is a key for it.

    `profile` is the resolved document. `previous`: the digest of the record before this one.
    """
    content: dict[str, Any] = {
        "record_version": RECORD_VERSION,
        "request": request,
        "profile": profile,
        "answer": answer,
        "previous": previous,
        "sealed_at": sealed_at,
    }
    payload = payload_of(content)
    signature = keys.sealing.sign(payload) if keys.sealing is not None else None
    return {**content, "digest": digest_of(payload), "signature": signature}
