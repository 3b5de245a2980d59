"""The keys by which records are sealed, and those by which seals are known."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Protocol


class SealingKey(Protocol):
    """A private key: its id, and the detached JWS that it makes of a payload."""

    @property
    def id(self) -> str: ...
    def sign(self, payload: bytes) -> str: ...


class KnownKey(Protocol):
    """A public key: whether a detached JWS is its private one's of a payload, and its JWK."""

    def made(self, signature: str, payload: bytes) -> bool: ...
    @property
    def jwk(self) -> Mapping[str, Any]: ...


@dataclass(frozen=True, slots=True)
class SealKeys:
    """`sealing`: what records are signed with; None: they get a digest and no signature.

    `known`: by key id, what signatures are held against; that of `sealing` is among them.
    """

    sealing: SealingKey | None = None
    known: Mapping[str, KnownKey] = field(default_factory=lambda: MappingProxyType({}))


NO_KEYS = SealKeys()
