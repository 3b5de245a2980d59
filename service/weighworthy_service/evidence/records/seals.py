"""Whether a record is what was sealed: digest, signature, key. Each fault has its own reason."""

import base64
import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, NamedTuple

from weighworthy_service import json_text
from weighworthy_service.evidence.records.content import digest_of
from weighworthy_service.evidence.records.keys import SealKeys
from weighworthy_service.json_text import MalformedJsonError

State = Literal["ok", "altered", "unknown-key", "unsigned"]
STATES: Final[tuple[State, ...]] = ("ok", "altered", "unknown-key", "unsigned")
_ALGORITHM: Final = "Ed25519"
_DETACHED: Final = re.compile(r"([A-Za-z0-9_-]+)\.\.([A-Za-z0-9_-]*)")
# Of a signature of 64 bytes, in base64url.
_LENGTH: Final = 86
_SHOWN: Final = 60
_LISTED: Final = 20


class Reason(NamedTuple):
    """Why something is not in order: for programs, for people, and where in the record."""

    about: str
    code: str
    message: str
    pointer: str


@dataclass(frozen=True, slots=True)
class Seal:
    """What the seal of a record comes to. `digest` is that of what the record holds now."""

    state: State
    digest: str
    key_id: str | None
    reasons: tuple[Reason, ...] = ()


class _Bad(Exception):  # noqa: N818  a finding, not an error of the program
    """A signature that is not taken."""

    def __init__(self, code: str, message: str, state: State = "altered") -> None:
        super().__init__(message)
        self.code, self.message, self.state = code, message, state


def seal_of(record: Mapping[str, Any], payload: bytes, keys: SealKeys) -> Seal:
    """The state of a record's seal, `payload` being its content in canonical form.

    `altered` before anything else: a digest that differs is told, whoever signed.
    """
    digest = digest_of(payload)
    reasons = []
    if record["digest"] != digest:
        said = (
            f"the record states {record['digest']}, and what it holds has {digest}: "
            "something in it was changed after it was sealed"
        )
        reasons.append(Reason("seal", "digest-differs", said, "/digest"))
    state: State
    key_id: str | None = None
    try:
        key_id = _key_id(record.get("signature"))
        _hold(record["signature"], payload, keys, key_id)
        state = "ok"
    except _Bad as bad:
        state = bad.state
        reasons.append(Reason("seal", bad.code, bad.message, "/signature"))
    if record["digest"] != digest:
        state = "altered"
    return Seal(state, digest, key_id, tuple(reasons))


def _key_id(signature: str | None) -> str:
    """The id of the key that a signature names; everything of its header is looked at."""
    if signature is None:
        raise _Bad(
            "unsigned",
            "no key has signed the record: who changes it can state a new digest as well",
            "unsigned",
        )
    found = _DETACHED.fullmatch(signature)
    if found is None:
        raise _Bad(
            "signature-malformed",
            "the signature is no detached JWS: header, two points, signature, in base64url",
        )
    header = _header(found[1])
    algorithm = header.get("alg")
    if algorithm != _ALGORITHM:
        raise _Bad(
            "algorithm-refused",
            f"the header of the signature says alg {_shown(algorithm)}; {_ALGORITHM} alone is "
            "taken, whatever a record says of itself",
        )
    if len(found[2]) != _LENGTH:
        raise _Bad(
            "signature-malformed",
            f"a signature has {_LENGTH} characters behind its two points, this one {len(found[2])}",
        )
    _decoded(found[2], "signature")
    if others := sorted(header.keys() - {"alg", "kid"}):
        raise _Bad(
            "header-unexpected",
            f"the header of the signature has {_shown(others[0])}, which nothing here puts there",
        )
    key_id = header.get("kid")
    if not isinstance(key_id, str):
        raise _Bad("key-not-named", "the signature does not name its key", "unknown-key")
    return key_id


def _hold(signature: str, payload: bytes, keys: SealKeys, key_id: str) -> None:
    key = keys.known.get(key_id)
    if key is None:
        names = [*keys.known][:_LISTED]
        known = ", ".join([*names, *(["…"] if len(keys.known) > _LISTED else [])]) or "none"
        raise _Bad(
            "unknown-key",
            f"the record is signed with the key {_shown(key_id)}, which is not known here "
            f"(known: {known})",
            "unknown-key",
        )
    if not key.made(signature, payload):
        raise _Bad(
            "signature-differs",
            f"the signature is not that of the key {_shown(key_id)} for what the record holds: "
            "the record was changed, or somebody without this key signed it",
        )


def _header(text: str) -> dict[str, Any]:
    try:
        header = json_text.parse(_decoded(text, "header of the signature"))
    except MalformedJsonError as error:
        raise _Bad("signature-malformed", f"the header of the signature: {error}") from None
    if not isinstance(header, dict):
        raise _Bad("signature-malformed", "the header of the signature is no object")
    return header


def _decoded(text: str, what: str) -> bytes:
    try:
        raw = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        raise _Bad("signature-malformed", f"the {what} is not base64url") from None
    # Bits that no byte needs could be changed without changing what is read.
    if base64.urlsafe_b64encode(raw).rstrip(b"=") != text.encode():
        raise _Bad("signature-malformed", f"the {what} has bits set that belong to no byte")
    return raw


def _shown(value: Any) -> str:
    return repr(value)[:_SHOWN]
