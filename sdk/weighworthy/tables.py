"""A table in, the same table with verdicts out: what `Client.evaluate_table` does."""

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from weighworthy.batches import CELLS, CSV
from weighworthy.errors import FULL, RequestRefused, TableFileError
from weighworthy.journal import Journal, digest_of, file_digest, open_journal
from weighworthy.locks import locked
from weighworthy.mapping_files import MappingFile, MappingLike, open_mapping
from weighworthy.pieces import PIECE, Scan, scan
from weighworthy.profile_files import ProfileFile, open_profile
from weighworthy.progress import Tell, silent
from weighworthy.table_pieces import Table
from weighworthy.table_run import Run
from weighworthy.values import plain
from weighworthy.workbook import Sheets, write_cells
from weighworthy.workbook_beside import note_on_cells_beside
from weighworthy.workbook_check import is_workbook
from weighworthy.workbook_seen import Hidden

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
_CELLS = "cells"


@dataclass(frozen=True, slots=True)
class TableSummary:
    """What became of a table. Every row but the header is judged, in error or skipped.

    ``unusable`` counts judged checks that let nothing be used, ``rows_unusable`` has the numbers of
    the first of their rows and ``rows_faulty`` of the first rows in error (a workbook that becomes
    CSV tells no numbers); ``read_as`` tells how the file was read and which of it was stated, found
    or assumed; ``notes`` are remarks for people; ``resumed`` counts pieces that an earlier run had
    done.
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
    rows_unusable: tuple[int, ...] = ()
    rows_faulty: tuple[int, ...] = ()


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
    with TemporaryDirectory(prefix="weighworthy-") as folder, _alone(target, folder):
        opened = open_mapping(mapping).completed(client._site).stating(**reading, sheet=sheet)
        source = _looked_at(client, Path(path), opened, profile)
        with _journal(client, source, target, form, Path(folder), resume=resume) as journal:
            table = _ready(source, journal)
            run = Run(client, table, form, journal, processes or usual)
            run.judge(progress or silent)
            beside = None
            if table.type == CELLS:
                beside = note_on_cells_beside(table.file, table.sheets, run.read_as)
            if target is not None:
                run.write(target)
    return _summary(run, table, journal, beside)


@contextmanager
def _alone(out: Path | None, folder: str) -> Iterator[None]:
    """Hold the output; where there is no room for it, say so of this file."""
    try:
        with nullcontext() if out is None else locked(out):
            yield
    except OSError as error:
        if error.errno in FULL and error.filename is None:
            error.filename = str(out or folder)
        raise


def _summary(run: Run, table: Table, journal: Journal, beside: str | None) -> TableSummary:
    counts, read_as, (pieces, resumed) = run.counts, run.read_as, run.pieces
    notes = list(table.sheets.notes)
    if beside is not None:
        notes.append(beside)
    if "encoding" in read_as.get("assumed", ()):
        notes.append(
            f"the file is not UTF-8 and was read as {read_as['encoding']}; "
            "state `encoding` in the mapping if that is wrong"
        )
    if journal.fresh:
        notes.append(f"started anew: {journal.fresh}")
    return TableSummary(
        **asdict(counts), read_as=read_as, notes=tuple(notes), pieces=pieces, resumed=resumed
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


@dataclass(frozen=True, slots=True)
class _Source:
    """A file and by what it is to be judged; ``scanned`` is None for a workbook."""

    path: Path
    digest: str
    scanned: Scan | None
    mapping: MappingFile
    profile: bytes | None
    query: Mapping[str, str]


def _looked_at(
    client: "Client", path: Path, opened: MappingFile, profile: "ProfileLike | None"
) -> _Source:
    sent, query = sent_profile(client, profile)
    if opened.name is not None:
        query["mapping"] = opened.name
    scanned = None if is_workbook(path) else scan(path)
    digest = file_digest(path) if scanned is None else scanned.digest
    return _Source(path, digest, scanned, opened, sent, query)


def _ready(source: _Source, journal: Journal) -> Table:
    by = (source.mapping, source.profile, source.query)
    if source.scanned is not None:
        return Table(source.path, CSV, *by, source.scanned)
    cells, noted = journal.part(_CELLS), journal.note(_CELLS)
    if noted is None:
        written = journal.being_written(_CELLS)
        with written.open("wb") as file:
            noted = asdict(write_cells(source.path, file, source.mapping))
        journal.done(_CELLS, written, noted)
    hidden = {
        name: Hidden(*(tuple(map(tuple, spans[kind])) for kind in ("rows", "columns")))
        for name, spans in noted["hidden"].items()
    }
    sheets = Sheets(noted["widths"], noted["begins"], tuple(noted["notes"]), hidden)
    scanned = Scan(cells.stat().st_size, source.digest, plain=True, quotes=False, odd_line=None)
    return Table(cells, CELLS, *by, scanned, sheets)


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
    client: "Client", source: _Source, out: Path | None, form: str, folder: Path, *, resume: bool
) -> Iterator[Journal]:
    """The journal beside the output; without an output, a folder that nobody will see."""
    if out is None:
        yield Journal(folder)
        return
    mapping, asked = source.mapping, {**source.query}
    profile = [(source.profile or b"").decode("latin-1"), asked.pop("profile", None)]
    run = {
        "the table": source.digest,
        "the mapping": digest_of([(mapping.text or b"").decode("latin-1"), asked]),
        "the profile": digest_of(profile),
        "the service": digest_of(
            [client._send("GET", p, None, None)[0].decode() for p in ("/v1/info", "/v1/profiles")]
        ),
        "the way of working": digest_of([form, PIECE]),
    }
    journal = open_journal(out, run, resume=resume)
    try:
        yield journal
    except BaseException as error:
        # What is done of a run that broke off stays, if anything is.
        kept = journal.begun or journal.note(_CELLS) is not None
        if not kept or (isinstance(error, RequestRefused) and not journal.begun):
            journal.remove()
        raise
    journal.remove()
