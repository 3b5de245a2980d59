"""API keys as they lie in files: digests, and what each key is for. No key itself is ever there.

SHA-256 without salt and repetition is enough, because keys are random numbers of 256 bits and no
words that somebody could guess.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, TypeGuard, get_args

from weighworthy_service.web.variables import SettingsError

# To have something judged; to look at what there is; to count what the service did.
Scope = Literal["evaluate", "read", "metrics"]
SCOPES: Final[tuple[Scope, ...]] = get_args(Scope)
USUAL: Final[frozenset[Scope]] = frozenset({"evaluate", "read"})
_DIGEST: Final = re.compile("sha256:([0-9a-f]{64})")


@dataclass(frozen=True, slots=True)
class Key:
    """The SHA-256 digest of a key, and the scopes that it has."""

    digest: bytes
    scopes: frozenset[Scope] = USUAL


def read_keys(place: Path) -> frozenset[Key]:
    """The keys of a file, or of all files of a folder: `sha256:<hex> [scopes]` a line, `#` begins a
    comment. Files whose names begin with a dot are left out: mounted secrets have some.

    Raises:
        SettingsError: something cannot be read, has no key, has a line of another form, or one key
            is there twice with different scopes.
    """
    found: dict[bytes, tuple[Key, str]] = {}
    for file in _files(place):
        for position, key in _lines(file):
            before, where = found.setdefault(key.digest, (key, position))
            if before != key:
                raise SettingsError(f"{position} gives other scopes to the key of {where}")
    return frozenset(key for key, _ in found.values())


def _files(place: Path) -> list[Path]:
    if not place.is_dir():
        return [place]
    try:
        names = sorted(place.iterdir())
    except OSError as error:
        raise SettingsError(f"the key folder {place} cannot be read: {error.strerror}") from None
    files = [file for file in names if not file.name.startswith(".") and file.is_file()]
    if not files:
        raise SettingsError(f"the key folder {place} holds no file")
    return files


def _lines(path: Path) -> list[tuple[str, Key]]:
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        # What cannot be decoded may be a key: only its place is told.
        said = error.strerror if isinstance(error, OSError) else "it is not UTF-8"
        raise SettingsError(f"the key file {path} cannot be read: {said}") from None
    found = []
    for position, line in enumerate(lines, start=1):
        words = line.partition("#")[0].split()
        if words:
            place = f"line {position} of the key file {path}"
            found.append((place, _key(words[0], words[1:], place)))
    if not found:
        raise SettingsError(f"the key file {path} holds no key")
    return found


def _key(digest: str, scopes: list[str], place: str) -> Key:
    # The line itself stays out of the messages: it may be a key somebody forgot to hash.
    matched = _DIGEST.fullmatch(digest)
    if matched is None:
        raise SettingsError(f"{place} does not begin with sha256:<64 hex>")
    known = [scope for scope in scopes if _is_scope(scope)]
    if len(known) < len(scopes):
        raise SettingsError(
            f"{place} has something else after the digest than the scopes {', '.join(SCOPES)}, "
            "apart by spaces"
        )
    return Key(bytes.fromhex(matched[1]), frozenset(known) or USUAL)


def _is_scope(text: str) -> TypeGuard[Scope]:
    return text in SCOPES
