"""A table in, the same table with verdicts out: what `Client.evaluate_table` does."""

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import file_digest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from weighworthy.batches import CELLS, CSV
from weighworthy.errors import TableFileError
from weighworthy.journal import Journal, digest_of, open_journal
from weighworthy.mapping_files import MappingFile, MappingLike, open_mapping
from weighworthy.pieces import PIECE, scan
from weighworthy.profile_files import ProfileFile, open_profile
from weighworthy.progress import Tell, silent
from weighworthy.table_run import Run, Table
from weighworthy.values import plain
from weighworthy.workbook import write_cells
from weighworthy.workbook_check import is_workbook

if TYPE_CHECKING:
    from weighworthy.client import Client
    from weighworthy.profiles import ProfileLike

_FORMS = {
    ".csv": "csv",
    ".txt": "csv",
    ".tsv": "csv",
    ".xlsx": "xlsx",
    ".ndjson": "ndjson",
    ".jsonl": "ndjson",
}
_CONNECTIONS = 4


@dataclass(frozen=True, slots=True)
class TableSummary:
    """What became of a table. Every row but the header is judged, in error or skipped.

    ``unusable`` counts judged checks that let nothing be used; ``read_as`` tells how the file was
    read and which of it was stated, found or assumed; ``notes`` are remarks for people; ``resumed``
    counts pieces that an earlier run had done.
    """

    rows_in: int
    rows_judged: int
    rows_in_error: int
    rows_skipped: int
    checks: int
    unusable: int
    verdicts: Mapping[str, int]
    read_as: Mapping[str, Any]
    notes: tuple[str, ...] = ()
    pieces: int = 1
    resumed: int = 0


def evaluate_table(
    client: "Client",
    path: str | os.PathLike[str],
    mapping: MappingLike,
    *,
    profile: "ProfileLike | None",
    out: str | os.PathLike[str] | None,
    sheet: str | None,
    reading: Mapping[str, str],
    processes: int | None,
    progress: Tell | None,
    resume: bool,
) -> TableSummary:
    """See `Client.evaluate_table`."""
    target = None if out is None else Path(out)
    form = _form(target)
    _spare(target, path, mapping, profile)
    if processes is not None and processes < 1:
        raise ValueError("processes is at least 1")
    usual = 1 if client._inside is not None else _CONNECTIONS
    with TemporaryDirectory(prefix="weighworthy-") as folder:
        opened = open_mapping(mapping).completed(client._site).stating(**reading, sheet=sheet)
        table = _opened(client, Path(path), opened, profile, Path(folder))
        with _journal(client, table, target, form, Path(folder), resume=resume) as journal:
            run = Run(client, table, form, journal, processes or usual)
            run.judge(progress or silent)
            if target is not None:
                run.write(target)
    return _summary(run, table, journal)


def _summary(run: Run, table: Table, journal: Journal) -> TableSummary:
    counts, read_as, (pieces, resumed) = run.counts, run.read_as, run.pieces
    notes = list(table.notes)
    if "encoding" in read_as.get("assumed", ()):
        notes.append(
            f"the file is not UTF-8 and was read as {read_as['encoding']}; "
            "state `encoding` in the mapping if that is wrong"
        )
    if journal.fresh:
        notes.append(f"started anew: {journal.fresh}")
    return TableSummary(
        counts.rows_in,
        counts.rows_judged,
        counts.rows_in_error,
        counts.rows_skipped,
        counts.checks,
        counts.unusable,
        counts.verdicts,
        read_as,
        tuple(notes),
        pieces,
        resumed,
    )


def _form(out: Path | None) -> str:
    if out is None:
        return "csv"
    form = _FORMS.get(out.suffix.lower())
    if form is None:
        raise TableFileError(f"{out.name}: an output ends in {', '.join(_FORMS)}")
    return form


def _spare(out: Path | None, *inputs: Any) -> None:
    """What is read is never written over."""
    if out is None or not out.exists():
        return
    for given in inputs:
        if isinstance(given, str | os.PathLike) and Path(given).exists() and out.samefile(given):
            raise TableFileError(f"{out.name}: this file is read; it is not written over")


def _opened(
    client: "Client", path: Path, opened: MappingFile, profile: "ProfileLike | None", folder: Path
) -> Table:
    sent, query = sent_profile(client, profile)
    if opened.name is not None:
        query["mapping"] = opened.name
    if not is_workbook(path):
        return Table(path, CSV, opened, sent, query, scan(path))
    cells = folder / "cells"
    with cells.open("wb") as file:
        sheets = write_cells(path, file, opened)
    scanned = replace(scan(cells), digest=_digest(path))
    return Table(cells, CELLS, opened, sent, query, scanned, sheets.widths, sheets.notes)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def sent_profile(
    client: "Client", profile: "ProfileLike | None"
) -> tuple[bytes | None, dict[str, str]]:
    """A profile, or that of the site, as a part of a batch or as a member of its query."""
    given = client._site.profile if profile is None else profile
    if given is None or isinstance(given, str):
        return None, {} if given is None else {"profile": given}
    return _profile(given), {}


def _profile(profile: Any) -> bytes:
    if isinstance(profile, os.PathLike):
        profile = open_profile(profile)
    if isinstance(profile, ProfileFile):
        text = profile.members.get("profile_toml")
        if text is not None:
            return str(text).encode()
        profile = profile.members["profile"]
    return json.dumps(plain(profile, "profile", counts=True), ensure_ascii=False).encode()


@contextmanager
def _journal(
    client: "Client", table: Table, out: Path | None, form: str, folder: Path, *, resume: bool
) -> Iterator[Journal]:
    """The journal beside the output; without an output, a folder that nobody will see."""
    if out is None:
        yield Journal(folder)
        return
    run = {
        "the table": table.scanned.digest,
        "the mapping": digest_of([(table.mapping.text or b"").decode("latin-1"), table.query]),
        "the profile": digest_of((table.profile or b"").decode("latin-1")),
        "the service": digest_of(
            [client._send("GET", p, None, None)[0].decode() for p in ("/v1/info", "/v1/profiles")]
        ),
        "the way of working": digest_of([form, PIECE]),
    }
    journal = open_journal(out, run, resume=resume)
    yield journal
    # Only where all went well: what is done of a run that broke off stays.
    journal.remove()
