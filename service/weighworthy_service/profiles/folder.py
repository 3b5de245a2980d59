"""A folder of profiles: read whole, or refused with everything that is wrong in it.

Taken are files named `*.toml` and `*.json`, in folders below too; names that begin with a dot are
passed over. A link is followed if it stays within the folder, as the links of a mounted
configuration do. Nothing is ever written or watched.
"""

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.json_document import pointer
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.files import FileUnreadable, read_file
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.source import Source
from weighworthy_service.profiles.store import ProfileSet
from weighworthy_service.wire.coded import field_errors

_SUFFIXES: Final = (".toml", ".json")
_EMPTY: Final = (
    "no *.toml or *.json is in this folder: is the path right, and the volume mounted? To use only "
    "the profiles that come with the service, name no folder (leave WEIGHWORTHY_PROFILES unset)"
)


@dataclass(frozen=True, slots=True)
class FolderError:
    """One fault: file below the folder, or the folder; line, if known; pointer, code, sentence."""

    file: str
    line: int | None
    pointer: str
    code: str
    detail: str

    def __str__(self) -> str:
        line = "" if self.line is None else f":{self.line}"
        where = f" {self.pointer}" if self.pointer else ""
        return f"{self.file}{line}:{where} {self.detail}"


class FolderNotUsable(ValueError):  # noqa: N818  the name says what is wrong
    """Nothing of the folder is taken; `errors` has every fault of every file."""

    def __init__(self, errors: Iterable[FolderError]) -> None:
        self.errors = tuple(errors)
        super().__init__("\n".join(map(str, self.errors)))


@dataclass(frozen=True, slots=True, eq=False)
class _File:
    """A file and what it says."""

    name: str
    source: Source

    @property
    def document(self) -> Mapping[str, Any]:
        return self.source.document

    @property
    def profile(self) -> str:
        """`id@revision` as far as they are stated; a name of its own otherwise."""
        id_, revision = self.document.get("id"), self.document.get("revision")
        stated = isinstance(id_, str) and isinstance(revision, str)
        return f"{id_}@{revision}" if stated else f"the profile in {self.name}"

    @property
    def parent(self) -> str | None:
        """The name at the end of `extends`, however many parents are written out before it."""
        extends = self.document.get("extends")
        while isinstance(extends, dict):
            extends = extends.get("extends")
        return extends if isinstance(extends, str) else None

    def error(self, path: tuple[str | int, ...], code: str, detail: str) -> FolderError:
        line = self.source.line(path)
        return FolderError(self.name, line, pointer(*path), code, detail)


def load_folder(folder: Path) -> ProfileSet:
    """The profiles of a folder beside those that come with the service.

    Raises:
        FolderNotUsable: anything in it cannot be read, means nothing, or has the name of another;
            or there is nothing in it.
    """
    errors: list[FolderError] = []
    files: list[_File] = []
    for name, path in paths_in(folder, errors):
        try:
            files.append(_File(name, read_file(path, folder)))
        except FileUnreadable as error:
            errors.append(FolderError(name, error.line, "", error.code, error.detail))
    errors += _taken_names(files)
    profiles = _resolved(files, errors)
    errors += _same_beginnings(profiles)
    if not files and not errors:
        # Whoever names a folder has profiles: judging by other ones would look like success.
        errors.append(FolderError(str(folder), None, "", "empty", _EMPTY))
    if errors:
        raise FolderNotUsable(sorted(errors, key=lambda e: (e.file, e.line or 0, e.pointer)))
    return ProfileSet.of((*built_in().all(), *profiles.values()))


def paths_in(folder: Path, errors: list[FolderError]) -> Iterator[tuple[str, Path]]:
    """Every file to read, by its name below the folder, in order; faults go to `errors`."""

    def unreadable(error: OSError) -> None:
        below = os.path.relpath(error.filename or folder, folder)
        name = str(folder) if below == "." else below
        errors.append(
            FolderError(name, None, "", "unreadable", f"cannot be read: {error.strerror}")
        )

    for top, below, names in os.walk(folder, onerror=unreadable):
        below[:] = sorted(name for name in below if not name.startswith("."))
        for name in (*below, *sorted(names)):
            path = Path(top, name)
            if name in below and not path.is_symlink():
                continue
            if name in below or (path.suffix in _SUFFIXES and not name.startswith(".")):
                yield path.relative_to(folder).as_posix(), path


def _taken_names(files: Iterable[_File]) -> Iterator[FolderError]:
    first: dict[str, _File] = {}
    for file in files:
        other = first.setdefault(file.profile, file)
        if other is not file:
            detail = f"{file.profile} is the profile of {other.name} already"
            yield file.error(("id",), "name-taken", detail)
        id_ = file.document.get("id")
        if isinstance(id_, str) and built_in().revisions(id_):
            detail = f"{id_} is a profile that comes with the service: choose another id"
            yield file.error(("id",), "name-taken", detail)


def _resolved(files: Iterable[_File], errors: list[FolderError]) -> dict[_File, Profile]:
    """Every file that means something; parents come before those that build on them."""
    waiting = list(files)
    profiles: dict[_File, Profile] = {}
    failed: list[_File] = []
    while waiting:
        ready = [f for f in waiting if not any(_builds_on(f, o) for o in waiting)]
        if not ready:
            errors += [_in_a_circle(file, waiting) for file in waiting]
            break
        known = ProfileSet.of((*built_in().all(), *profiles.values()))
        for file in ready:
            broken = next((o for o in failed if _builds_on(file, o)), None)
            if broken is not None:
                detail = f"builds on {broken.profile}, which cannot be used: see {broken.name}"
                errors.append(file.error(("extends",), "parent-not-usable", detail))
            profile = None if broken else _profile(file, known, errors)
            if profile is None:
                failed.append(file)
            else:
                profiles[file] = profile
        waiting = [file for file in waiting if file not in ready]
    return profiles


def _builds_on(file: _File, other: _File) -> bool:
    return file.parent in (other.profile, other.document.get("id"))


def _in_a_circle(file: _File, waiting: Iterable[_File]) -> FolderError:
    chain = [file]
    while True:
        following = next((o for o in waiting if _builds_on(chain[-1], o)), None)
        if following is None or following in chain:
            break
        chain.append(following)
    names = [link.profile for link in (*chain, following) if link is not None]
    detail = f"a profile cannot build on itself: {' -> '.join(names)}"
    return file.error(("extends",), "extends-cycle", detail)


def _profile(file: _File, known: ProfileSet, errors: list[FolderError]) -> Profile | None:
    try:
        return read_profile(file.document, known)
    except ValidationError as error:
        for fault in field_errors(error.messages):
            line = file.source.line_at(fault.pointer)
            errors.append(FolderError(file.name, line, fault.pointer, fault.code, fault.detail))
    except ProfileNotUsable as error:
        errors += [file.error(flaw.path, flaw.code, flaw.detail) for flaw in error.flaws]
    return None


def _same_beginnings(profiles: Mapping[_File, Profile]) -> Iterator[FolderError]:
    """Two revisions of one id that begin on one day: a plain id would mean either."""
    first: dict[tuple[str, object], _File] = {}
    for file, profile in profiles.items():
        begin = profile.effective_from
        other = first.setdefault((profile.identity.id, begin), file)
        if other.profile != file.profile:
            detail = (
                f"{other.profile} ({other.name}) is in force from {begin or 'the beginning'} too: "
                "give each revision an effective_from of its own"
            )
            yield file.error(("effective_from",), "ambiguous", detail)
