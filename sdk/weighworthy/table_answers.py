"""The answer of a table, written to a file, and the proof that every row is in it."""

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import Path
from typing import Any

from weighworthy.batches import NDJSON, Batch, Sender, post
from weighworthy.errors import ProtocolError
from weighworthy.results import VERDICTS, read_json
from weighworthy.table_read_as import read_as_of

FIRST_ADDED = "ww_outcome"
_OUTCOMES = {"judged": "rows_judged", "error": "rows_in_error", "skipped": "rows_skipped"}
NOT_JUDGED = "none"
_COUNTED = ("ww_outcome", "ww_group", "ww_verdict", "ww_usable")
# Checks of several rows that are remembered: more than rows lie between those of one.
_GATHERED = 20_000
# Title rows may come before the header of an answer, but never much.
_HEAD = 4 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of the rows; ``unusable`` counts judged checks that let nothing be used."""

    rows_in: int = 0
    rows_judged: int = 0
    rows_in_error: int = 0
    rows_skipped: int = 0
    checks: int = 0
    unusable: int = 0
    verdicts: Mapping[str, int] = field(default_factory=dict)

    def __add__(self, other: "Counts") -> "Counts":
        both = Counter(self.verdicts) + Counter(other.verdicts)
        return Counts(
            self.rows_in + other.rows_in,
            self.rows_judged + other.rows_judged,
            self.rows_in_error + other.rows_in_error,
            self.rows_skipped + other.rows_skipped,
            self.checks + other.checks,
            self.unusable + other.unusable,
            {name: both[name] for name in (*VERDICTS, NOT_JUDGED) if both[name]},
        )

    @property
    def add_up(self) -> bool:
        """Whether every row is accounted for."""
        return self.rows_in == self.rows_judged + self.rows_in_error + self.rows_skipped


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
    heard: Callable[[int, int], None] | None = None,
) -> Told:
    """Write the answer of a table to a file, as it comes: rows of CSV, or lines of JSON.

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
    return _told_by_rows(out, rows_in, read_as_of(headers), with_header)


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
        names = ("rows_in", *_OUTCOMES.values(), "checks")
        counts = Counts(
            **{name: int(said[name]) for name in names},
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
    with out.open("rb") as file:
        for line in file:
            # These members are neighbours in the envelope, and quotes in texts are escaped.
            usable += b'"usable":true,"criteria":' in line
            last, end = line, size
            size += len(line)
    counts, read_as = read_summary(last)
    return Told(replace(counts, unusable=counts.checks - usable), 0, end, read_as)


def _told_by_rows(out: Path, rows_in: int, read_as: Mapping[str, Any], with_header: bool) -> Told:
    found = header_of(out)
    with out.open(encoding="utf-8-sig", newline="") as file:
        counts = _counted(csv.reader(file, delimiter=found.delimiter), rows_in)
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


def _counted(rows: Iterator[list[str]], rows_in: int) -> Counts:
    above: list[list[str]] = []
    header: list[str] = []
    for header in rows:
        if FIRST_ADDED in header:
            break
        above.append(header)
    outcomes: Counter[str] = Counter()
    verdicts: Counter[str] = Counter()
    checks = unusable = 0
    for (outcome, verdict, usable, first), count in Counter(
        _facts(chain(above, rows), header)
    ).items():
        outcomes[outcome] += count
        if outcome == "judged" and first:
            checks += count
            verdicts[verdict or NOT_JUDGED] += count
            unusable += count * (usable != "true")
    counts = Counts(
        rows_in,
        **{name: outcomes[outcome] for outcome, name in _OUTCOMES.items()},
        checks=checks,
        unusable=unusable,
        verdicts={name: verdicts[name] for name in (*VERDICTS, NOT_JUDGED) if verdicts[name]},
    )
    if not counts.add_up:
        came = outcomes.total()
        raise ProtocolError(f"the answer is not whole: {came} rows came back of {rows_in}")
    return counts


def _facts(rows: Iterable[list[str]], header: list[str]) -> Iterator[tuple[str, str, str, bool]]:
    """Outcome, verdict, usable, and whether it is the first row of its check."""
    outcome, group, verdict, usable = (header.index(name) - len(header) for name in _COUNTED)
    # Rows of one check say the same; when its key comes again another day, they say something else.
    checks: dict[tuple[str, ...], None] = {}
    for row in rows:
        first = True
        if row[group]:
            said = tuple(row[outcome:])
            first = said not in checks
            checks[said] = None
            if len(checks) > _GATHERED:
                del checks[next(iter(checks))]
        yield row[outcome], row[verdict], row[usable], first
