"""Profiles on the command line: files, folders, names, and the options beside them."""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from weighworthy.cli_common import UsageError, asking, expanded, plain_json, read_text
from weighworthy.errors import Invalid
from weighworthy.profile_files import ProfileFile, open_profile, profile_from_text

_A_NAME = re.compile("[a-z0-9][a-z0-9-]*(@[A-Za-z0-9._-]+)?")
# By the member of a request that is theirs alone; instruments and weights come from the site.
_OPTIONS = {
    **{
        name: f"--{name}"
        for name in ("check", "final", "initial", "load", "method", "occasion", "stage")
    },
    "loads/linearity": "--linearity",
    "loads/simulated-loss": "--loss",
    "loads/span": "--span",
    "performed_on": "--on",
}


def profile_argument(name: str) -> str | ProfileFile:
    """A profile named on the command line: standard input, a file, or a name the service knows.

    Raises `ProfileFileError`; `UsageError` for what is no file or cannot be opened.
    """
    try:
        return opened_profile(name)
    except OSError as error:
        raise UsageError(f"{name}: {error.strerror or error}") from error


def opened_profile(name: str) -> str | ProfileFile:
    """As `profile_argument`, but raises ``OSError``."""
    if name == "-":
        return profile_from_text(read_text(name), "standard input", Path())
    path = Path(name)
    if path.is_file() or name.lower().endswith((".toml", ".json")):
        return open_profile(name)
    if os.path.lexists(name) and not (path.is_dir() and _A_NAME.fullmatch(name)):
        raise _no_file(name)
    return name


def _no_file(name: str) -> UsageError:
    return UsageError(f"{name}: not a file; a profile is a file, - for standard input, or a name")


def expanded_profiles(patterns: list[str]) -> list[str]:
    """Files that patterns and folders mean; what looks like no file is a name the service knows."""
    names: list[str] = []
    for pattern in patterns:
        is_file = any(sign in pattern for sign in "*?[/\\.") and "@" not in Path(pattern).name
        for name in expanded([pattern]) if is_file else [pattern]:
            if Path(name).is_dir():
                names += _in_folder(Path(name))
            elif name == "-" or Path(name).is_file() or not os.path.lexists(name):
                names.append(name)
            else:
                raise _no_file(name)
    return names


def _in_folder(folder: Path) -> list[str]:
    files = sorted(str(file) for file in folder.glob("*.toml") if file.is_file())
    if not files:
        raise UsageError(f"{folder}: no *.toml in this folder")
    return files


@contextmanager
def asking_by_options() -> Iterator[None]:
    """As `asking`; what the service refuses of an option is wrong usage too."""
    with asking():
        try:
            yield
        except Invalid as error:
            options = [_option(fault.pointer) for fault in error.errors]
            if not options or None in options:
                raise
            faults = zip(options, error.errors, strict=True)
            said = "\n".join(f"{option}: {fault.detail}" for option, fault in faults)
            raise UsageError(said) from error


def _option(pointer: str) -> str | None:
    """The option that a member of the request came from, if one is meant."""
    members = pointer.split("/")[1:3]
    if members[:1] == ["loads"]:
        of_kind = f"--load {members[1]}" if len(members) > 1 else None
        return _OPTIONS.get("/".join(members), of_kind)
    return _OPTIONS.get(members[0]) if members else None


def named(profile: str | ProfileFile) -> str:
    """What people know the profile by."""
    return profile if isinstance(profile, str) else profile.name


def with_source(profile: str | ProfileFile, what: str, raw: bytes) -> str:
    """An answer as the service gave it, and which file begins at which line of what was sent."""
    parts = [] if isinstance(profile, str) else [asdict(part) for part in profile.parts.values()]
    head = plain_json({"profile": named(profile), "parts": parts}).removesuffix("}")
    return f'{head}, "{what}": {raw.decode()}}}'
