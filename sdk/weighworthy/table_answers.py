"""The answer of a table, written to a file, and the proof that every row is in it."""

import csv
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from weighworthy.batches import CSV, NDJSON, Batch, Sender, post
from weighworthy.errors import ProtocolError
from weighworthy.results import read_json
from weighworthy.table_counts import Counts, Noted, counted
from weighworthy.table_read_as import read_as_of

# Title rows may come before the header of an answer, but never much.
_HEAD = 4 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Told:
    """What a written answer holds: ``begin`` and ``end`` in bytes are its rows without what stands
    around them (a header that was not wanted, a summary); ``read_as`` where it says so."""

    counts: Counts
    begin: int
    end: int
    read_as: Mapping[str, Any]


def write_answer(
    send: Sender,
    batch: Batch,
    out: Path,
    *,
    with_header: bool = True,
    first_row: int = 1,
    heard: Callable[[int, int], None] | None = None,
) -> Told:
    """Write the answer of a table to a file, as it comes: rows of CSV, or lines of JSON.

    ``first_row`` is the number of the first row of CSV, for those that do not bring their own.
    ``heard`` is told how many lines have come, and of how many (0: unknown). Raises
    `WeighworthyError`; `ProtocolError` also where the answer is not whole.
    """

    def take(headers: Mapping[str, str], pieces: Iterator[bytes]) -> Mapping[str, str]:
        refuse_type(headers, batch.accept)
        lines, rows_in = 0, _rows_in(headers) or 0
        with out.open("wb") as file:
            for piece in pieces:
                file.write(piece)
                lines += piece.count(b"\n")
                if heard is not None:
                    heard(lines, rows_in)
        return headers

    headers = post(send, batch, take)
    if batch.accept == NDJSON:
        return _told_by_lines(out)
    rows_in = _rows_in(headers)
    if rows_in is None:
        raise ProtocolError("the answer does not say how many rows it is of")
    numbers = first_row if batch.type == CSV else None
    return _told_by_rows(out, rows_in, read_as_of(headers), with_header, numbers)


def _rows_in(headers: Mapping[str, str]) -> int | None:
    text = headers.get("weighworthy-rows-in", "")
    return int(text) if text.isascii() and text.isdigit() else None


def refuse_type(headers: Mapping[str, str], wanted: str) -> None:
    """Raise `ProtocolError` unless an answer has the type that was asked for."""
    media_type = headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type != wanted:
        message = f"not {wanted} but {media_type or 'a body without media type'}"
        raise ProtocolError(f"{message}, so it is not from this service", 200)


def read_summary(line: bytes) -> tuple[Counts, Mapping[str, Any]]:
    """Counts and ``read_as`` of the last line of an answer. Raises `ProtocolError`."""
    try:
        said = read_json(line)["summary"]
        counts = Counts(
            rows_in=int(said["rows_in"]),
            rows_judged=int(said["rows_judged"]),
            rows_in_error=int(said["rows_in_error"]),
            rows_skipped=int(said["rows_skipped"]),
            checks=int(said["checks"]),
            verdicts={name: int(count) for name, count in said["verdicts"].items() if count},
        )
        complete, broken_by, read_as = said["complete"], said.get("broken_by"), said["read_as"]
    except (ValueError, KeyError, TypeError, AttributeError):
        raise ProtocolError("the answer has no summary, so it is not whole") from None
    if complete is not True or not counts.add_up:
        raise ProtocolError(f"the answer is not whole: {broken_by or 'rows are missing'}")
    return counts, dict(read_as)


def _told_by_lines(out: Path) -> Told:
    usable = 0
    last, end, size = b"", 0, 0
    noted = Noted()
    with out.open("rb") as file:
        for line in file:
            # These members are neighbours in the envelope, and quotes in texts are escaped.
            if b'"usable":true,"criteria":' in line:
                usable += 1
            else:
                noted.note_line(line)
            last, end = line, size
            size += len(line)
    counts, read_as = read_summary(last)
    unusable = counts.checks - usable
    return Told(noted.added_to(replace(counts, unusable=unusable)), 0, end, read_as)


def _told_by_rows(
    out: Path, rows_in: int, read_as: Mapping[str, Any], with_header: bool, first_row: int | None
) -> Told:
    found = header_of(out)
    # The header of a table without one is no row of it.
    unheaded = with_header and "header_row" in read_as and not read_as["header_row"]
    try:
        with out.open(encoding="utf-8-sig", newline="") as file:
            rows = csv.reader(file, delimiter=found.delimiter)
            counts = counted(rows, rows_in, 0 if unheaded and first_row else first_row)
    except (csv.Error, IndexError, ValueError) as error:
        raise ProtocolError(f"the answer is not whole: {error}") from error
    return Told(counts, 0 if with_header else found.end, out.stat().st_size, read_as)


@dataclass(frozen=True, slots=True)
class AnswerHeader:
    """How an answer is written, and at which byte its header row ends."""

    delimiter: str
    end: int


def header_of(out: Path) -> AnswerHeader:
    """The header of an answer in CSV, told by the first of the added columns."""
    with out.open("rb") as file:
        beginning = file.read(_HEAD)
    match = re.search(rb"ww_outcome([;,\t|])ww_check", beginning)
    end = -1 if match is None else beginning.find(b"\r\n", match.end())
    if match is None or end < 0:
        raise ProtocolError("the answer has no header, so it is not whole")
    return AnswerHeader(match[1].decode(), end + 2)
