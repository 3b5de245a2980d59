"""Detached signatures (RFC 7515, appendix F) with Ed25519 (RFC 8037, RFC 9864), and their keys.

Keys are JWK (RFC 7517) or PEM. A key without an id of its own has its thumbprint (RFC 7638) as id.
Loading what is imported here takes longer than the rest of the service needs to start; it is
imported where there are keys.
"""

import json
import logging
import os
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from joserfc import jws
from joserfc.errors import JoseError
from joserfc.jwk import OKPKey

from weighworthy_service.evidence.records.keys import SealKeys

_LOG: Final = logging.getLogger(__name__)
ALGORITHM: Final = "Ed25519"
_LONGEST_ID: Final = 200
_LARGEST_FILE: Final = 64 * 1024
_SELF_TEST: Final = b"weighworthy"


class KeyFileError(ValueError):
    """A file of keys that cannot be used; the message names it, and never what is in it."""


@dataclass(frozen=True, slots=True)
class Ed25519Key:
    """One key with its id, private or public."""

    id: str
    key: OKPKey

    def sign(self, payload: bytes) -> str:
        """The JWS of a payload in compact form, without the payload: `header..signature`."""
        header = {"alg": ALGORITHM, "kid": self.id}
        whole = jws.serialize_compact(header, payload, self.key, algorithms=[ALGORITHM])
        return jws.detach_content(whole)

    def made(self, signature: str, payload: bytes) -> bool:
        """Whether a detached JWS is that of this key for the payload."""
        try:
            jws.deserialize_compact(signature, self.key, algorithms=[ALGORITHM], payload=payload)
        except (JoseError, ValueError):
            return False
        return True

    @property
    def jwk(self) -> dict[str, Any]:
        """The public key as JWK."""
        public = self.key.as_dict(private=False)
        shown = {name: public[name] for name in ("kty", "crv", "x")}
        return {**shown, "kid": self.id, "use": "sig", "alg": ALGORITHM}

    @property
    def public(self) -> "Ed25519Key":
        """The same without what signs."""
        return Ed25519Key(self.id, OKPKey.import_key(self.key.as_dict(private=False)))


def read_seal_keys(sealing: Path | None, public: Path | None) -> SealKeys:
    """The private key of one file, and the public keys of another, or of a folder of such.

    Raises:
        KeyFileError: a file cannot be read, holds another kind of key than Ed25519, or two keys
            that differ have one id; a file of public keys holds a private one.
    """
    known: dict[str, Ed25519Key] = {}
    own: Ed25519Key | None = None
    if sealing is not None:
        keys = list(_keys(sealing))
        if len(keys) != 1 or not keys[0].key.is_private:
            raise KeyFileError(f"{sealing} does not hold one private key: what seals is one")
        own = keys[0]
        _known(known, own.public, sealing)
        _warn_if_open(sealing)
    for file in _files(public):
        for key in _keys(file):
            if key.key.is_private:
                raise KeyFileError(f"{file} holds a private key, where public ones belong")
            _known(known, key, file)
    return SealKeys(own, MappingProxyType(known))


def _warn_if_open(file: Path) -> None:
    # Not refused: mounted secrets have the modes that a cluster gives them.
    if os.name == "posix" and file.stat().st_mode & stat.S_IROTH:
        _LOG.warning("%s can be read by everybody on this machine, who could then seal, too", file)


def _known(known: dict[str, Ed25519Key], key: Ed25519Key, file: Path) -> None:
    before = known.setdefault(key.id, key)
    if before.jwk != key.jwk:
        raise KeyFileError(f"{file}: another key has the id {key.id!r}")


def _files(place: Path | None) -> list[Path]:
    if place is None:
        return []
    if not place.is_dir():
        return [place]
    # Mounted secrets have files of their own whose names begin with a dot.
    files = [f for f in sorted(place.iterdir()) if not f.name.startswith(".") and f.is_file()]
    if not files:
        raise KeyFileError(f"the folder {place} holds no file of keys")
    return files


def _keys(file: Path) -> Iterator[Ed25519Key]:
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise KeyFileError(f"{file} cannot be read: {error.strerror}") from None
    if len(raw) > _LARGEST_FILE:
        raise KeyFileError(f"{file} is longer than keys are")
    if raw.lstrip().startswith(b"-----BEGIN"):
        yield _of_pem(raw, file)
        return
    try:
        document = json.loads(raw)
    except (ValueError, RecursionError):
        raise KeyFileError(f"{file} is neither JSON (a JWK, or a set of them) nor PEM") from None
    several = document.get("keys") if isinstance(document, dict) else None
    found = several if isinstance(several, list) else [document]
    if not found:
        raise KeyFileError(f"{file} holds no key")
    for one in found:
        yield _of_jwk(one, file)


def _of_pem(raw: bytes, file: Path) -> Ed25519Key:
    try:
        key = OKPKey.import_key(raw)
        return _named(key.as_dict(private=key.is_private), file)
    except KeyFileError:
        raise
    except (JoseError, ValueError, TypeError, AttributeError):
        raise KeyFileError(f"{file} is not the PEM of an Ed25519 key without password") from None


def _of_jwk(document: Any, file: Path) -> Ed25519Key:
    if not isinstance(document, dict) or document.get("kty") != "OKP":
        raise KeyFileError(f"{file} holds a key that is no JWK of type OKP")
    try:
        return _named(document, file)
    except KeyFileError:
        raise
    except (JoseError, ValueError, TypeError):
        raise KeyFileError(f"{file} holds a JWK that cannot be read") from None


def _named(document: Mapping[str, Any], file: Path) -> Ed25519Key:
    if document.get("crv") != "Ed25519":
        raise KeyFileError(f"{file} holds a key of another curve than Ed25519")
    if document.get("use", "sig") != "sig" or document.get("alg", ALGORITHM) not in (
        ALGORITHM,
        "EdDSA",
    ):
        raise KeyFileError(f"{file} holds a key that is not for signatures with {ALGORITHM}")
    # Members such as key_ops would be looked at with each use; what the key is for is settled here.
    needed = {name: document[name] for name in ("kty", "crv", "x", "d") if name in document}
    key = OKPKey.import_key(needed)
    id_ = document.get("kid", key.thumbprint())
    if not isinstance(id_, str) or not 0 < len(id_) <= _LONGEST_ID or not id_.isprintable():
        raise KeyFileError(f"{file}: the kid of a key is a text of up to {_LONGEST_ID} characters")
    named = Ed25519Key(id_, key)
    if key.is_private and not named.public.made(named.sign(_SELF_TEST), _SELF_TEST):
        raise KeyFileError(f"{file}: the public and the private part are of different keys")
    return named
