"""A CSV file in pieces that can be judged apart: cut between records, each with its row number.

What a record is must be the same here as for the service: a quotation mark that is never closed
costs its own line, because the search for its fellow ends after the longest cell there may be, and
the search for the end of a record after the longest line; one that encloses rows costs each of
them. A test holds both to the same.
"""

import codecs
import csv
import hashlib
import re
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

# Large enough to keep a worker busy for a second, small enough to share the work evenly.
PIECE = 2 * 1024 * 1024
_STEP = 1024 * 1024
# Characters of the longest cell and of the longest line that the service takes.
_LONGEST_CELL, _LONGEST_LINE = 32 * 1024, 1024 * 1024
_LOST = "\ufffd".encode()
_NAMES_DELIMITER = re.compile(r"sep=[;,\t|]\s*", re.IGNORECASE)
_LINE_ENDS = re.compile(r"\r\n|\r|\n")
_FIGURE = re.compile(r"\s*[-+\u2212]?[0-9][0-9.,:/T -]*\s?[^\W\d]{0,3}\s*")
# In these a quotation mark, a line feed and a delimiter are the bytes that they are in ASCII.
CUTTABLE = frozenset(
    {
        "utf-8",
        "cp1252",
        "iso-8859-1",
        "iso-8859-15",
        "cp437",
        "cp850",
        "cp1250",
        "cp1251",
        "mac-roman",
    }
)


@dataclass(frozen=True, slots=True)
class Scan:
    """What one pass over a file has shown.

    ``digest``   SHA-256 of the whole file
    ``plain``    whether it can be cut at line feeds: no NUL, no U+FFFD, no line that ends otherwise
    ``quotes``   whether there is any quotation mark
    ``odd_line`` the first line that is not UTF-8, ``None`` if all are
    """

    size: int
    digest: str
    plain: bool
    quotes: bool
    odd_line: bytes | None


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of a file that hold whole records; ``first_row`` is the number of the first."""

    number: int
    offset: int
    length: int
    first_row: int


@dataclass(frozen=True, slots=True)
class Head:
    """The beginning of a file: where its header record lies, if it has one.

    ``first`` is the offset of row 1, behind a byte order mark and a line like ``sep=;``; ``body``
    that of the row behind the header, which has the number ``row``.
    """

    first: int
    header: bytes
    body: int
    row: int


def scan(path: Path) -> Scan:
    """Look once through a file. Raises ``OSError``."""
    digest = hashlib.sha256()
    decoder = codecs.getincrementaldecoder("utf-8")()
    size, plain, quotes, tail = 0, True, False, b""
    odd: int | None = None
    with path.open("rb") as file:
        while data := file.read(_STEP):
            digest.update(data)
            # Two bytes of overlap: a line end or a character may lie across two steps.
            seen = tail + data
            lone = seen.count(b"\r", 0, -1) > seen.count(b"\r\n")
            plain = plain and not (lone or b"\0" in data or _LOST in seen)
            quotes = quotes or b'"' in data
            if odd is None:
                odd = _not_utf_8(decoder, data, size)
            size += len(data)
            tail = seen[-2:]
        if tail.endswith(b"\r"):
            plain = False
        if odd is None:
            odd = _not_utf_8(decoder, b"", size, final=True)
        line = None if odd is None else _line_at(file, odd)
    return Scan(size, digest.hexdigest(), plain, quotes, line)


def _not_utf_8(
    decoder: codecs.IncrementalDecoder, data: bytes, offset: int, *, final: bool = False
) -> int | None:
    """Offset of the first byte that is not UTF-8, of data that begin at ``offset``."""
    try:
        decoder.decode(data, final)
    except UnicodeDecodeError as error:
        # What the decoder kept of the data before counts as the beginning.
        return offset - len(decoder.getstate()[0]) + error.start
    return None


def _line_at(file: BinaryIO, offset: int) -> bytes:
    """The line that holds this byte; of a very long one a part around it."""
    begin = max(0, offset - _STEP // 2)
    file.seek(begin)
    before = file.read(offset - begin)
    file.seek(begin + before.rfind(b"\n") + 1)
    return file.readline(_STEP)


def head_of(path: Path, delimiter: str, encoding: str, header_row: int) -> Head:
    """Find the header record, whose number the service told. Raises ``OSError``, ``ValueError``."""
    with path.open("rb") as file:
        first = 3 if file.read(3) == codecs.BOM_UTF8 else 0
        file.seek(first)
        line = file.readline(_LONGEST_LINE)
        if _NAMES_DELIMITER.fullmatch(line.decode(encoding, "replace")):
            first += len(line)
        file.seek(first)
        offset, header = first, b""
        lengths = record_lengths(file, delimiter, encoding)
        row = 0
        while row < header_row:
            length, rows = next(lengths, (0, 0))
            row += rows
            if not length or row > header_row:
                raise ValueError(f"{path.name} has no row {header_row}")
            offset, header = offset + length, _part(path, offset, length)
    if header and not header.endswith(b"\n"):
        header += b"\r\n"
    return Head(first, header, offset, header_row + 1)


def cut(
    path: Path,
    head: Head,
    *,
    delimiter: str,
    encoding: str,
    quotes: bool,
    size: int = PIECE,
) -> Iterator[Piece]:
    """The file in pieces of about ``size`` bytes. The first begins with whatever comes first."""
    with path.open("rb") as file:
        file.seek(head.body)
        ends = (
            _ends_of_records(record_lengths(file, delimiter, encoding), size)
            if quotes
            else _ends_of_lines(file, size)
        )
        number, offset, row = 0, head.body, head.row
        for length, rows in ends:
            begin = 0 if number == 0 else offset
            yield Piece(number, begin, offset + length - begin, 1 if number == 0 else row)
            number, offset, row = number + 1, offset + length, row + rows
        if number == 0:
            yield Piece(0, 0, offset, 1)


def cut_lines(path: Path, size: int = PIECE) -> Iterator[Piece]:
    """A file whose rows are lines, in pieces of about ``size`` bytes."""
    with path.open("rb") as file:
        offset, row = 0, 1
        for number, (length, rows) in enumerate(_ends_of_lines(file, size)):
            yield Piece(number, offset, length, row)
            offset, row = offset + length, row + rows


def _ends_of_lines(file: BinaryIO, size: int) -> Iterator[tuple[int, int]]:
    while data := file.read(size):
        data += file.readline()
        yield len(data), data.count(b"\n") + (not data.endswith(b"\n"))


def _ends_of_records(lengths: Iterator[tuple[int, int]], size: int) -> Iterator[tuple[int, int]]:
    length = rows = 0
    for one, more in lengths:
        length, rows = length + one, rows + more
        if length >= size:
            yield length, rows
            length = rows = 0
    if rows:
        yield length, rows


def record_lengths(file: BinaryIO, delimiter: str, encoding: str) -> Iterator[tuple[int, int]]:
    """Bytes of each record from here on, and how many rows it counts as: mostly one."""
    given_back: deque[bytes] = deque()

    def following() -> bytes:
        return given_back.popleft() if given_back else file.readline()

    while line := following():
        if b'"' not in line:
            yield len(line), 1
            continue
        taken = [line]
        if rows := _rows_of(taken, following, delimiter, encoding):
            yield sum(map(len, taken)), rows
        else:
            given_back.extendleft(reversed(taken[1:]))
            yield len(line), 1


def _rows_of(
    taken: list[bytes], following: Callable[[], bytes], delimiter: str, encoding: str
) -> int:
    """How many rows the lines count as that make a record, 0 where they make none; lines are added
    to them for as long as it may be."""

    def source() -> Iterator[str]:
        text = taken[0].decode(encoding, "replace")
        size, held = len(text), 0
        while size <= _LONGEST_LINE:
            yield text
            held = _open_cell(text, held)
            if held > _LONGEST_CELL:
                return
            line = following()
            if not line:
                return
            taken.append(line)
            text = line.decode(encoding, "replace")
            size += len(text)

    try:
        cells = next(csv.reader(source(), delimiter=delimiter, strict=True))
    except (csv.Error, StopIteration):
        return 0
    lines = [line.decode(encoding, "replace") for line in taken]
    return len(lines) if len(lines) > 1 and _encloses_rows(lines, cells, delimiter) else 1


def _encloses_rows(lines: list[str], cells: list[str], delimiter: str) -> bool:
    """Whether a record looks like rows of the table, by its figures or by its delimiters."""
    *within, own = [line[len(line.rstrip("\r\n")) :] for line in lines]
    if own and own not in within:
        return False
    any_figure = False
    for cell in cells:
        parted = [line.split(delimiter) for line in _LINE_ENDS.split(cell)]
        figures = [sum(map(bool, map(_FIGURE.fullmatch, parts))) for parts in parted]
        if len(parted) > 1:
            any_figure = any_figure or any(figures)
        if any(
            n >= 2 and len(parts) >= 3 for parts, n in zip(parted[1:], figures[1:], strict=True)
        ):
            return True
    enough = max(1, -(-3 * (len(cells) - 1) // 4))
    first, *between, last = [line.count(delimiter) >= enough for line in lines if line.strip()]
    return any_figure and first and last and 2 * sum(between) >= len(between)


def _open_cell(line: str, before: int) -> int:
    """Characters of the cell that is open at the end of a line of a record that goes on."""
    # Two marks are one character of a cell; then the last that is left opens a new one.
    text = line.replace('""', "x")
    place = text.rfind('"')
    return before + len(text) if place < 0 else len(text) - place - 1


def _part(path: Path, offset: int, length: int) -> bytes:
    with path.open("rb") as file:
        file.seek(offset)
        return file.read(length)


def beginning(path: Path, scanned: Scan) -> bytes:
    """As much of the file as lets the service settle how it is to be read, and a bit more."""
    wanted = 5000 if scanned.quotes else 1100
    parts: list[bytes] = []
    size = 0
    with path.open("rb") as file:
        while len(parts) < wanted and size < 4 * PIECE and (line := file.readline(_STEP)):
            parts.append(line)
            size += len(line)
    if scanned.odd_line is not None:
        # What is not UTF-8 may lie far behind; the service must see it to choose.
        parts += [b"" if parts and parts[-1].endswith(b"\n") else b"\n", scanned.odd_line]
    return b"".join(parts)
