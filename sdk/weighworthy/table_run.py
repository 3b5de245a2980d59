"""The pieces of one table: what came of each, and the whole put together."""

import json
import os
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weighworthy.batches import CELLS, CSV, NDJSON, Batch, FileRange
from weighworthy.journal import Journal
from weighworthy.progress import Progress, Tell, silent
from weighworthy.results import VERDICTS
from weighworthy.table_answers import Told
from weighworthy.table_counts import NOT_JUDGED, Counts, counts_of
from weighworthy.table_pieces import (
    Table,
    can_be_cut,
    cut_up,
    may_be_cut,
    plain_read_as,
    probed,
    whole,
)
from weighworthy.table_workers import Job, work

if TYPE_CHECKING:
    from weighworthy.client import Client

_STEP = 1024 * 1024


class Run:
    """One table on its way."""

    def __init__(
        self, client: "Client", table: Table, form: str, journal: Journal, processes: int
    ) -> None:
        self._client, self._table, self._form, self._journal = client, table, form, journal
        self._processes = processes
        self._progress: Tell = silent
        self._accept = NDJSON if form == "ndjson" else CSV
        self._added_only = form == "xlsx" and table.type == CELLS
        query = {**table.query, "columns": "added"} if self._added_only else dict(table.query)
        self._batch = Batch(
            (FileRange(table.file, 0, table.scanned.size),),
            table.type,
            self._accept,
            table.mapping.text,
            table.profile,
            query,
        )
        self._read_as: Mapping[str, Any] = {}
        self._parts: dict[int, Told] = {}
        self._resumed = 0
        self._began = time.monotonic()
        self._done_size = self._done_rows = 0
        self._old_size = self._old_rows = 0

    def judge(self, progress: Tell) -> None:
        """Have all pieces judged that are not done yet. Raises `WeighworthyError`, ``OSError``."""
        self._progress = progress
        for job, told in work(self._client, self._open_jobs(), self._processes, self._heard):
            note = {**asdict(told), "read_as": plain_read_as(told.read_as)}
            self._journal.done(job.number, job.out, note)
            self._take(job.number, told, job.size)
        if self._table.type == CSV and not self.read_as:
            # Something between here and the service lets its headers not through.
            self._read_as = probed(self._client, self._table, self._batch)
        self._tell(1.0, 0)

    @property
    def counts(self) -> Counts:
        """What became of the rows of all pieces."""
        return sum((told.counts for told in self._parts.values()), Counts())

    @property
    def read_as(self) -> Mapping[str, Any]:
        """How the file was read, as far as the service told."""
        return self._read_as or plain_read_as(self._parts[0].read_as)

    @property
    def pieces(self) -> tuple[int, int]:
        """How many there are, and how many an earlier run had done."""
        return len(self._parts), self._resumed

    def write(self, out: Path) -> None:
        """Put the parts together beside the output, and the whole in its place."""
        whole = self._journal.folder / "whole"
        with whole.open("wb") as file:
            for number in sorted(self._parts):
                told = self._parts[number]
                with self._journal.part(number).open("rb") as part:
                    part.seek(told.begin)
                    left = told.end - told.begin
                    while left and (data := part.read(min(left, _STEP))):
                        file.write(data)
                        left -= len(data)
            if self._accept == NDJSON:
                file.write(_summary_line(self.counts, self.read_as))
        if self._form == "xlsx":
            # Only few tables become workbooks.
            from weighworthy.workbook_out import (  # noqa: PLC0415
                workbook_of_cells,
                workbook_of_csv,
            )

            book = self._journal.folder / "whole.xlsx"
            if self._added_only:
                with self._table.file.open("rb") as cells:
                    sheets = self._table.sheets
                    workbook_of_cells(cells, sheets.widths, whole, book, sheets.hidden)
            else:
                workbook_of_csv(whole, str(self.read_as["decimal"]), book)
            whole = book
        os.replace(whole, out)

    def _open_jobs(self) -> Iterator[Job]:
        for job in self._jobs():
            note = self._journal.note(job.number)
            if note is None:
                yield job
                continue
            counts = counts_of(note["counts"])
            self._resumed += 1
            self._old_rows += counts.rows_in
            self._old_size += job.size
            told = Told(counts, note["begin"], note["end"], note["read_as"])
            self._take(job.number, told, job.size)

    def _jobs(self) -> Iterator[Job]:
        table, batch = self._table, self._batch
        if may_be_cut(table):
            self._read_as = probed(self._client, table, batch)
            if can_be_cut(table, self._read_as):
                yield from cut_up(batch, table, self._read_as, self._journal)
                return
        yield whole(batch, table, self._journal)

    def _take(self, number: int, told: Told, size: int) -> None:
        self._parts[number] = told
        self._done_size += size
        self._done_rows += told.counts.rows_in
        self._tell(self._done_size / max(1, self._table.scanned.size), 0)

    def _heard(self, size: int, lines: int, of: int) -> None:
        begun = size * min(1.0, lines / of) if of else 0.0
        self._tell((self._done_size + begun) / max(1, self._table.scanned.size), lines)

    def _tell(self, share: float, lines: int) -> None:
        self._progress(
            Progress(
                self._done_rows + lines,
                share,
                time.monotonic() - self._began,
                self._old_rows,
                self._old_size / max(1, self._table.scanned.size),
            )
        )


def _summary_line(counts: Counts, read_as: Mapping[str, Any]) -> bytes:
    verdicts = {name: counts.verdicts.get(name, 0) for name in (*VERDICTS, NOT_JUDGED)}
    names = ("rows_in", "rows_judged", "rows_in_error", "rows_skipped", "checks", "unusable")
    numbers = {name: getattr(counts, name) for name in names}
    told = {**numbers, "verdicts": verdicts, "read_as": plain_read_as(read_as)}
    said = {"summary": {"complete": True, "broken_by": None, **told}}
    return json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
