"""A journal beside an output: which pieces are done, so that a run that was cut off can go on.

A part is written under a temporary name and renamed; the note beside it, with the part's counts and
its digest, comes last and in the same way. So whatever has a note that fits is whole. Nothing else
counts.
"""

import hashlib
import json
import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any, TypeAlias

from weighworthy.values import plain

_HEAD = "run.json"
_NOTES = "part-*.json"
_PIECE = "piece-"
# Parts of the output have numbers; what else is worth keeping has a name.
Part: TypeAlias = int | str


def digest_of(value: Any) -> str:
    """A digest of a document of plain JSON types."""
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


def file_digest(path: Path) -> str:
    """SHA-256 of a file. Raises ``OSError``."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@dataclass(frozen=True, slots=True)
class Journal:
    """A folder with the parts of one output. ``fresh`` tells why an older one was not used."""

    folder: Path
    fresh: str | None = None

    def part(self, number: Part) -> Path:
        """Where a part belongs."""
        return self.folder / part_name(number)

    def being_written(self, number: Part) -> Path:
        """Where this process writes a part until it is whole."""
        return self.folder / f"{_PIECE}{os.getpid()}-{number}"

    def note(self, number: Part) -> Mapping[str, Any] | None:
        """What was noted of a part that is done; ``None`` while it is not."""
        try:
            noted = json.loads(self._note(number).read_text("utf-8"))
            whole = file_digest(self.part(number)) == noted["digest"]
        except (OSError, ValueError, KeyError, TypeError):
            return None
        return noted if whole else None

    def done(self, number: Part, written: Path, note: Mapping[str, Any]) -> None:
        """Take over a part that is written whole, with its counts."""
        digest = file_digest(written)
        os.replace(written, self.part(number))
        _put(self._note(number), {**note, "digest": digest})

    @property
    def begun(self) -> bool:
        """Whether any part of the output is done."""
        return any(self.folder.glob(_NOTES))

    def remove(self) -> None:
        """Away with it: the output is in its place."""
        shutil.rmtree(self.folder)

    def _note(self, number: Part) -> Path:
        return self.folder / f"{part_name(number)}.json"


def journal_folder(output: PurePath) -> PurePath:
    """The folder beside an output, so that what is done can be moved into its place."""
    return output.with_name(output.name + ".journal")


def part_name(number: Part) -> str:
    """The file of a part; its note has a suffix more."""
    return number if isinstance(number, str) else f"part-{number:06}"


def temporary(path: PurePath) -> PurePath:
    """Under which name a file is written before it has its own, in the same folder."""
    return path.with_name(path.name + ".new")


def open_journal(output: Path, run: Mapping[str, str], *, resume: bool = True) -> Journal:
    """The journal of an output, for a run that is told by digests of all that decides.

    ``run`` has a sentence's subject as the name of each: ``{"the table": "…", …}``. Parts of
    another run are thrown away, and `Journal.fresh` says what differs. Raises ``OSError``.
    """
    folder = Path(journal_folder(output))
    fresh = None
    if folder.is_dir():
        fresh = "" if not resume else _differs(folder, run)
        if fresh is None:
            # What a run that was killed had not yet finished.
            for piece in folder.glob(f"{_PIECE}*"):
                piece.unlink()
            return Journal(folder)
        shutil.rmtree(folder)
    folder.mkdir()
    _put(folder / _HEAD, plain(run))
    return Journal(folder, fresh or None)


def _differs(folder: Path, run: Mapping[str, str]) -> str | None:
    """What is not as it was in the run whose parts lie there; ``None``: all is."""
    try:
        before = json.loads((folder / _HEAD).read_text("utf-8"))
    except (OSError, ValueError):
        return "the journal cannot be read"
    if not isinstance(before, dict):
        return "the journal cannot be read"
    changed = [name for name in run if before.get(name) != run[name]]
    if not changed and before.keys() == run.keys():
        return None
    return f"{' and '.join(changed) or 'the journal'} changed since it was cut off"


def _put(path: Path, document: Any) -> None:
    """Write a file so that it is there whole or not at all, also after a power failure."""
    written = Path(temporary(path))
    with written.open("w", encoding="utf-8") as file:
        json.dump(document, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(written, path)
