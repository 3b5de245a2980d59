"""Which characters the bytes of a file are: stated, or marked, or UTF-8, or else Windows-1252.

No statistics: a guess that is right nearly always puts a wrong name into a record now and then. One
pass over the whole file also finds what no table may hold, and what the reading needs to know.
"""

import codecs
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import BinaryIO, Final

from weighworthy_service.tables.cells import TableFault, TableNotUsable

_CHUNK: Final = 1 << 20
_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_FALLBACK: Final = "cp1252"
_STEP: Final = 1 << 16


@dataclass(frozen=True, slots=True)
class Text:
    """What one pass over a file has shown.

    Attributes:
        encoding: one without a mark of its own (never `utf-16`).
        marked: the file begins with a byte order mark.
        how: "stated", "found" or "assumed".
        lines: number of lines, the last with or without its end.
        quotes: whether there is any quotation mark.
    """

    encoding: str
    marked: bool
    how: str
    lines: int
    quotes: bool


def look_through(spool: BinaryIO, stated: str | None, by: str = "the mapping says") -> Text:
    """Settle the encoding, and refuse what is no text.

    Args:
        by: who states it.

    Raises:
        TableNotUsable: `encoding-not-utf-8`, `encoding-differs`, `encoding-unclear`, `nul-byte`,
            `replacement-character`, `table-empty`.
    """
    spool.seek(0)
    head = spool.read(4)
    if not head:
        raise TableNotUsable(TableFault("table-empty", "the file is empty"))
    marked = next((name for mark, name in _MARKS if head.startswith(mark)), None)
    if stated is not None:
        return _count(spool, _stated(stated, marked, by), marked is not None, "stated", by)
    if marked is not None:
        return _count(spool, marked, True, "found")
    try:
        return _count(spool, "utf-8", False, "found")
    except UnicodeDecodeError:
        return _count(spool, _FALLBACK, False, "assumed")


def _stated(stated: str, marked: str | None, by: str) -> str:
    if marked is not None and stated not in (
        marked,
        marked.removesuffix("-le").removesuffix("-be"),
    ):
        raise TableNotUsable(
            TableFault("encoding-differs", f"{by} {stated}, but the file is marked as {marked}")
        )
    if stated == "utf-16" and marked is None:
        raise TableNotUsable(
            TableFault(
                "encoding-differs",
                "a file in utf-16 without a byte order mark: state utf-16-le or utf-16-be",
            )
        )
    return marked or stated


def _count(spool: BinaryIO, encoding: str, marked: bool, how: str, by: str = "") -> Text:
    """One pass, the text in pieces. Raises UnicodeDecodeError only while UTF-8 is a mere try."""
    spool.seek(0)
    decoder = codecs.getincrementaldecoder(encoding)()
    newlines = io.IncrementalNewlineDecoder(None, translate=True)
    lines, quotes, ended, blank = 0, False, True, True
    while True:
        data = spool.read(_CHUNK)
        try:
            piece = newlines.decode(decoder.decode(data, final=not data), final=not data)
        except UnicodeDecodeError as error:
            if how == "found" and not marked:
                raise
            # The part that was read until the fault.
            before = error.object[: error.start].decode(encoding, "ignore")
            line = lines + newlines.decode(before).count("\n") + 1
            raise TableNotUsable(_not_decodable(encoding, by, how, line)) from None
        _refuse_no_text(piece, lines)
        quotes = quotes or '"' in piece
        blank = blank and not piece.removeprefix("\ufeff").strip()
        lines += piece.count("\n")
        ended = piece.endswith("\n") if piece else ended
        if not data:
            if blank:
                raise TableNotUsable(TableFault("table-empty", "the file holds blanks alone"))
            return Text(encoding, marked, how, lines + (not ended), quotes)


def _refuse_no_text(piece: str, lines: int) -> None:
    for character, code, what in (
        ("\0", "nul-byte", "a NUL, which no text has"),
        ("\ufffd", "replacement-character", "U+FFFD, which some program left for lost characters"),
    ):
        place = piece.find(character)
        if place >= 0:
            line = lines + piece.count("\n", 0, place) + 1
            raise TableNotUsable(TableFault(code, f"line {line} holds {what}", row=line))


def _not_decodable(encoding: str, by: str, how: str, line: int) -> TableFault:
    if how == "assumed":
        return TableFault(
            "encoding-unclear",
            f"the file is neither UTF-8 nor {encoding}, as bytes from line {line} on show; "
            "state `encoding` in the mapping",
        )
    code = "encoding-not-utf-8" if encoding == "utf-8" else "encoding-differs"
    said = by if how == "stated" else "the file is marked as"
    return TableFault(code, f"{said} {encoding}, but bytes from line {line} on are not", row=line)


def text_lines(spool: BinaryIO, encoding: str, limit: int) -> Iterator[str]:
    """The lines with their ends, streaming. Of a line longer than `limit` only the beginning
    comes, one character more than `limit`. One iteration at a time: they share the file."""
    spool.seek(0)
    text = io.TextIOWrapper(spool, encoding=encoding, newline="")
    readline = text.readline
    try:
        line = readline(limit + 1).removeprefix("\ufeff")
        while line:
            begun = _skip_line(line, readline) if len(line) > limit else ""
            yield line
            line = begun if begun and begun in "\r\n" else begun + readline(limit + 1)
    finally:
        if not spool.closed:
            text.detach()


def _skip_line(piece: str, readline: Callable[[int], str]) -> str:
    """Read on to the end of a line that was cut; what is read of the next line is given back."""
    size = len(piece)
    while piece and piece[-1] not in "\r\n":
        size = _STEP
        piece = readline(size)
    if piece.endswith("\r") and len(piece) == size:
        # The piece was cut at a carriage return, whose line feed may follow.
        behind = readline(1)
        return "" if behind == "\n" else behind
    return ""
