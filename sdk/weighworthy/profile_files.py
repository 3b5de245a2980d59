"""Profiles in files: TOML or JSON, with what they build on found in the files beside them."""

import codecs
import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeAlias

from weighworthy.errors import ProfileFileError
from weighworthy.profile_toml import joined, profile_to_toml
from weighworthy.values import plain

# As many parents above one profile as the service takes.
MOST_PARENTS = 4
# The limits of a folder of profiles: what passes here must not stop a service from starting.
_LARGEST_FILE = 256 * 1024

Document: TypeAlias = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Part:
    """A file that took part, and the line at which it begins in the TOML text that is sent.

    ``line`` is 0 where no text is sent; ``as_written`` tells whether the lines are the file's own.
    """

    file: str
    line: int = 0
    as_written: bool = False


@dataclass(frozen=True, slots=True)
class ProfileFile:
    """A profile as it lies in a file, completed with its parents.

    ``name``    the file, as people know it
    ``members`` what goes to the service: ``profile_toml`` (so that it can name lines) or
                ``profile`` (from JSON, or where the TOML of several files cannot be joined)
    ``parts``   the files that took part by ``id@revision``, from child to root
    """

    name: str
    members: Document = field(repr=False)
    parts: Mapping[str, Part]

    def locate(self, line: int | None, document: str | None) -> tuple[str, int | None]:
        """File, and line in it, of a line of the text that was sent.

        ``document`` is ``id@revision`` where it is known; it tells the file where a line does not.
        """
        parts = [p for p in self.parts.values() if 0 < p.line <= (line or 0)]
        if parts and line is not None:
            part = max(parts, key=lambda p: p.line)
            return part.file, line - part.line + 1 if part.as_written else None
        named = self.parts.get(document or "")
        if named is not None:
            return named.file, None
        return (self.name if document is None else document), line


def load_profile(path: str | os.PathLike[str]) -> dict[str, Any]:
    """The document of a profile file (``.toml`` or ``.json``), its parents nested in ``extends``.

    A parent that no file beside it has stays a name: the service may have it. Raises ``OSError``,
    and `ProfileFileError` naming file and fault: a cycle, more than 4 parents, no TOML, a number
    without unit.
    """
    where = Path(path)
    return _sendable(_nested(_parsed(where), where.parent, str(where), {}), str(where))


def write_profile(document: Document, path: str | os.PathLike[str]) -> None:
    """Write a document as a TOML file. Raises as `profile_to_toml`, and ``OSError``."""
    Path(path).write_text(profile_to_toml(document), encoding="utf-8", newline="\n")


def open_profile(path: str | os.PathLike[str]) -> ProfileFile:
    """A profile file ready to be sent. Raises ``OSError`` and `ProfileFileError`.

    Broken TOML is sent as it is: the service says what is wrong, and on which line.
    """
    where = Path(path)
    if where.suffix.lower() != ".json":
        return profile_from_text(_text(where), str(where), where.parent)
    files: dict[str, str] = {}
    document = _nested(_parsed(where), where.parent, str(where), files)
    return _as_document(document, str(where), files)


def profile_from_text(text: str, name: str, folder: Path) -> ProfileFile:
    """A profile given as TOML text, its parents looked for in ``folder``."""
    try:
        document = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError):  # a number of too many digits is no TOMLDecodeError
        return ProfileFile(name, {"profile_toml": text}, {})
    files: dict[str, str] = {}
    nested = _nested(document, folder, name, files)
    if nested is document:
        return ProfileFile(
            name, {"profile_toml": text}, {_name(document): Part(name, 1, as_written=True)}
        )
    parents = [Path(file) for file in list(files.values())[1:]]
    whole, starts = joined([text, *map(_as_toml, parents)])
    try:
        faithful = tomllib.loads(whole, parse_float=Decimal) == nested
    except ValueError:
        faithful = False
    if not faithful or len(whole) > _LARGEST_FILE:
        return _as_document(nested, name, files)
    parts = {
        profile: Part(file, start, as_written=not file.lower().endswith(".json"))
        for (profile, file), start in zip(files.items(), starts, strict=True)
    }
    return ProfileFile(name, {"profile_toml": whole}, parts)


def _as_document(document: Document, name: str, files: Mapping[str, str]) -> ProfileFile:
    parts = {profile: Part(file) for profile, file in files.items()}
    return ProfileFile(name, {"profile": _sendable(document, name)}, parts)


def _as_toml(path: Path) -> str:
    if path.suffix.lower() != ".json":
        return _text(path)
    return profile_to_toml(_sendable(_parsed(path), str(path)))


def _nested(
    document: dict[str, Any], folder: Path, file: str, files: dict[str, str]
) -> dict[str, Any]:
    """The document with named parents replaced by the files beside it; itself if none was found.

    ``files`` gathers what took part, in order from child to root.
    """
    name = _name(document)
    if name in files:
        way = " -> ".join([*files, name])
        raise _at_extends(files, "extends-cycle", f"extends goes round in a circle: {way}")
    files[name] = file
    if len(files) > MOST_PARENTS + 1:
        way = " -> ".join(files)
        said = f"more than {MOST_PARENTS} parents above one: {way}"
        raise _at_extends(files, "extends-too-deep", said)
    parent = document.get("extends")
    parent_file = file
    if isinstance(parent, str):
        parent_file, parent = _beside(parent, folder, file)
    if not isinstance(parent, dict):
        return document
    nested = _nested(parent, folder, parent_file, files)
    return document if nested is document["extends"] else {**document, "extends": nested}


def _beside(reference: str, folder: Path, file: str) -> tuple[str, dict[str, Any] | None]:
    """File and document of the profile ``id`` or ``id@revision`` in the folder, if it is there."""
    wanted, _, revision = reference.partition("@")
    found = [
        (str(path), document)
        for path, document in _profiles_in(folder)
        if document["id"] == wanted and revision in ("", document["revision"])
    ]
    if len(found) > 1:
        several = ", ".join(f"{_name(document)} in {Path(path).name}" for path, document in found)
        raise _at_extends({"": file}, "extends-open", f"extends {reference!r} could be {several}")
    return found[0] if found else (file, None)


def _profiles_in(folder: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() not in (".toml", ".json") or not path.is_file():
            continue
        try:
            document = _parsed(path)
        except (OSError, ProfileFileError):
            continue  # not what is looked for; a review of that file says what is wrong with it
        if isinstance(document.get("id"), str) and isinstance(document.get("revision"), str):
            yield path, document


def _parsed(path: Path) -> dict[str, Any]:
    text = _text(path)
    if path.suffix.lower() != ".json":
        return _from_toml(text, str(path))
    try:
        document = json.loads(text, parse_float=Decimal, object_pairs_hook=_once)
    except RecursionError:
        raise _fault(path, None, "malformed-json", "nested too deeply") from None
    except ValueError as error:
        raise _fault(path, _line(error), "malformed-json", str(error)) from None
    if not isinstance(document, dict):
        raise _fault(path, 1, "malformed-json", "a profile is an object")
    return document


def _from_toml(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except RecursionError:
        raise _fault(name, None, "malformed-toml", "nested too deeply") from None
    except ValueError as error:
        raise _fault(name, _line(error), "malformed-toml", str(error)) from None


def _line(error: ValueError) -> int | None:
    """The line out of the message of a parser, which names it only there."""
    found = re.search(r"\bline ([0-9]+)", str(error))
    return int(found[1]) if found else None


def _fault(file: str | Path, line: int | None, code: str, sentence: str) -> ProfileFileError:
    place = file if line is None else f"{file}:{line}"
    return ProfileFileError([f"{place}: {code}: {sentence}"])


def _at_extends(files: Mapping[str, str], code: str, sentence: str) -> ProfileFileError:
    """A fault of the first of these files, where it says what it builds on."""
    file = next(iter(files.values()))
    try:
        lines = Path(file).read_text("utf-8").split("\n")
    except (OSError, ValueError):  # standard input, for one
        return _fault(file, None, code, sentence)
    numbered = enumerate(lines, start=1)
    line = next((n for n, text in numbered if re.match(r"""\s*["']?extends\b""", text)), None)
    return _fault(file, line, code, sentence)


def _text(path: Path) -> str:
    if path.stat().st_size > _LARGEST_FILE:
        raise _fault(path, 1, "too-large", f"larger than {_LARGEST_FILE // 1024} KiB")
    raw = path.read_bytes()
    if raw.startswith(codecs.BOM_UTF8):
        said = "begins with a byte order mark: save it as UTF-8 without"
        raise _fault(path, 1, "byte-order-mark", said)
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise _fault(path, 1, "not-utf-8", "begins like UTF-16: save it as UTF-8")
    try:
        return raw.decode()
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        said = f"the byte 0x{raw[error.start]:02x} is not UTF-8: save the file as UTF-8"
        raise _fault(path, line, "not-utf-8", said) from None


def _once(members: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(members)
    if len(document) != len(members):
        raise ValueError("a key is there twice in one object")
    return document


def _sendable(document: Document, file: str) -> dict[str, Any]:
    try:
        checked: dict[str, Any] = plain(document, "profile", counts=True)
    except (TypeError, ValueError) as error:
        raise _fault(file, None, "wrong-type", str(error)) from None
    return checked


def _name(document: Document) -> str:
    return f"{document.get('id')}@{document.get('revision')}"
