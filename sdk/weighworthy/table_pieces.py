"""A table that is ready to be sent, and the jobs that it makes: in one piece, or in many."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weighworthy.batches import CELLS, CSV, NDJSON, Batch, FileRange, post
from weighworthy.journal import Journal
from weighworthy.mapping_files import MappingFile
from weighworthy.pieces import CUTTABLE, PIECE, Piece, Scan, beginning, cut, cut_lines, head_of
from weighworthy.table_answers import read_summary
from weighworthy.table_read_as import read_as_of
from weighworthy.table_workers import Job
from weighworthy.workbook import Sheets

if TYPE_CHECKING:
    from weighworthy.client import Client

_STEP = 1024 * 1024
# Rows of each sheet by which the service settles how it is to be read, and a few more.
_FIRST_ROWS = 1100


@dataclass(frozen=True, slots=True)
class Table:
    """A file that is ready to be sent, and what it is to be judged by.

    ``file`` holds the rows that are sent: the table itself, or the typed cells of ``sheets``.
    """

    file: Path
    type: str
    mapping: MappingFile
    profile: bytes | None
    query: Mapping[str, str]
    scanned: Scan
    sheets: Sheets = field(default_factory=lambda: Sheets({}, {}, ()))


def may_be_cut(table: Table) -> bool:
    """As far as that can be seen without asking how the file is read."""
    return table.mapping.cuttable and table.scanned.plain and table.scanned.size > 2 * PIECE


def can_be_cut(table: Table, read_as: Mapping[str, Any]) -> bool:
    """The same where it is known how the file is read."""
    return table.type == CELLS or read_as.get("encoding") in CUTTABLE


def whole(batch: Batch, table: Table, journal: Journal) -> Job:
    """The only piece of a table."""
    return Job(0, batch, journal.being_written(0), True, table.scanned.size, 1)


def cut_up(
    batch: Batch, table: Table, read_as: Mapping[str, Any], journal: Journal
) -> Iterator[Job]:
    """The pieces of a table, each pinned to how the whole is read."""
    told = ("encoding", "delimiter", "decimal", "sheet")
    pins = {name: read_as[name] for name in told if read_as.get(name) is not None}
    header_row = int(read_as["header_row"] or 0)
    first = table.mapping.stating(**pins, header_row=header_row).text
    if table.type == CELLS:
        header = _header_line(table, pins.get("sheet"), header_row)
        later, pieces = first, cut_lines(table.file, PIECE)
    else:
        delimiter, encoding = pins["delimiter"], pins["encoding"]
        head = head_of(table.file, delimiter, encoding, header_row)
        header, quotes = head.header, table.scanned.quotes
        later = table.mapping.stating(**pins, header_row=1 if header_row else 0).text
        pieces = cut(
            table.file, head, delimiter=delimiter, encoding=encoding, quotes=quotes, size=PIECE
        )
    for piece in pieces:
        rows = FileRange(table.file, piece.offset, piece.length)
        out = journal.being_written(piece.number)
        if piece.number == 0:
            one, row = replace(batch, table=(rows,), mapping=first), 1
        else:
            query = _placed(batch.query, table, piece)
            one = replace(batch, table=(header, rows), mapping=later, query=query)
            # The header of the answer stands above its rows, whether the table has one or not.
            row = piece.first_row - 1
        yield Job(piece.number, one, out, piece.number == 0, piece.length, row)


def _placed(query: Mapping[str, str], table: Table, piece: Piece) -> Mapping[str, str]:
    # Rows of typed cells bring their own numbers.
    return query if table.type == CELLS else {**query, "first_row": str(piece.first_row)}


def _header_line(table: Table, sheet: str | None, header_row: int) -> bytes:
    if not header_row:
        return b""
    with table.file.open("rb") as file:
        file.seek(table.sheets.begins[str(sheet)])
        for line in file:
            if json.loads(line)[1] == header_row:
                return line
    raise ValueError(f"the sheet has no row {header_row}")


def probed(client: "Client", table: Table, batch: Batch) -> Mapping[str, Any]:
    """How the service reads the file, found out from its beginning."""
    query = {name: text for name, text in batch.query.items() if name != "columns"}
    probe = replace(
        batch,
        table=(beginning(table.file, table.scanned) if table.type == CSV else _beginnings(table),),
        accept=NDJSON,
        query={**query, "detail": "short"},
    )

    def told(headers: Mapping[str, str], pieces: Iterator[bytes]) -> Mapping[str, Any]:
        read_as = read_as_of(headers)
        if read_as and client._inside is not None:
            # There is no connection that would have to be read empty before it serves again.
            return read_as
        held = b""
        for piece in pieces:
            held = (held + piece)[-_STEP:]
        return read_summary(held.rstrip(b"\n").rpartition(b"\n")[2])[1]

    return plain_read_as(post(client._stream, probe, told))


def _beginnings(table: Table) -> bytes:
    """The first rows of each sheet."""
    parts = []
    with table.file.open("rb") as file:
        begins = sorted({*table.sheets.begins.values(), table.scanned.size})
        for begin, end in pairwise(begins):
            file.seek(begin)
            for _ in range(_FIRST_ROWS):
                if file.tell() >= end:
                    break
                parts.append(file.readline())
    return b"".join(parts)


def plain_read_as(read_as: Mapping[str, Any]) -> dict[str, Any]:
    """How a file was read, as plain types of JSON."""
    told: dict[str, Any] = {k: list(v) if isinstance(v, tuple) else v for k, v in read_as.items()}
    if told.get("header_row") is not None:
        told["header_row"] = int(told["header_row"])
    return told
