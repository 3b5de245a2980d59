"""Check requests, one a line: the first line may hold what all the others have in common."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO, Final

from weighworthy_service import json_text
from weighworthy_service.json_document import pointer
from weighworthy_service.json_text import MalformedJsonError
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.tables.line_requests import Documents, kind_of, labels_of
from weighworthy_service.tables.outcome import Answered, Counts, RowOutcome, Skipped, refused
from weighworthy_service.tables.quick import Judge
from weighworthy_service.tables.table_section import TableLimits
from weighworthy_service.wire.coded import FieldError, nearest
from weighworthy_service.wire.request import MAX_WEIGHTS

_STEP: Final = 256 * 1024
_BOM: Final = b"\xef\xbb\xbf"
# A line that begins with defaults, however it is spaced within reason.
_LONGEST_BEGIN: Final = 80
_DEFAULTS: Final = re.compile(rb'\n[ \t\r]{0,20}\{[ \t]{0,20}"defaults"[ \t]{0,20}:')
READ_AS: Final[dict[str, Any]] = {
    "encoding": "utf-8",
    **dict.fromkeys(("delimiter", "decimal", "thousands", "header_row", "sheet")),
    "stated": [],
    "assumed": [],
}
# Bad lines that are remembered, and how long in bytes: those that repeat are read once.
_BAD, _LONGEST_BAD = 4096, 512


@dataclass(frozen=True, slots=True)
class Lines:
    """A spooled text of lines of at most `longest` bytes, and the defaults of its first line."""

    spool: BinaryIO
    longest: int
    defaults: dict[str, Any]
    begin: int
    first: int


def open_lines(spool: BinaryIO, limits: TableLimits) -> Lines:
    """Count the lines, and look at the first.

    Raises:
        Refusal: `table-not-usable`: there is none, or there are too many; `malformed-json`,
            `invalid`: the first holds defaults that cannot be used.
    """
    count, second = _looked_over(spool)
    if count > limits.rows:
        said = f"at most {limits.rows} rows are taken: split the table, with first_row for the rest"
        raise refusal_of("table-not-usable", [FieldError("", "too-many-rows", said)])
    longest = limits.line
    spool.seek(0)
    blank, number, line = 0, 1, spool.readline(longest + 1)
    if line.startswith(_BOM):
        raise Refusal("malformed-json", "the body begins with a byte order mark")
    while line.isspace():
        blank += len(line)
        number += 1
        line = spool.readline(longest + 1)
    if not line:
        said = "the body is empty, or holds blanks alone: the check requests were lost on their way"
        raise refusal_of("table-not-usable", [FieldError("", "table-empty", said)])
    defaults = _first(line, number, longest)
    if second is not None and (defaults is None or second > blank):
        said = "a line of defaults stands below other lines: it belongs first, once in a body"
        raise refusal_of("invalid", [FieldError("/defaults", "contradiction", said)])
    if defaults is None:
        return Lines(spool, longest, {}, 0, 1)
    return Lines(spool, longest, defaults, blank + len(line), number + 1)


def _looked_over(spool: BinaryIO) -> tuple[int, int | None]:
    """How many lines there are, and where the last line of defaults begins, if there is one."""
    spool.seek(0)
    count, last, at, kept = 0, None, 0, b"\n"
    for piece in iter(lambda: spool.read(_STEP), b""):
        count += piece.count(b"\n")
        window = kept + piece
        for found in _DEFAULTS.finditer(window):
            last = at - len(kept) + found.start() + 1
        at += len(piece)
        kept = window[-_LONGEST_BEGIN:]
    return count, last


def _first(line: bytes, number: int, longest: int) -> dict[str, Any] | None:
    """The defaults that the first line holds; None: it is a line like any other.

    Raises:
        Refusal: it may be meant to hold them and cannot be read: the rest would be judged without.
    """
    if len(line.removesuffix(b"\n")) > longest:
        said = f"line {number}, which may hold the defaults, is longer than {longest} bytes"
        raise Refusal("too-large", said)
    try:
        document = json_text.parse(line)
    except MalformedJsonError as error:
        said = f"line {number}, which may hold the defaults, cannot be read: {error}"
        raise Refusal("malformed-json", said) from None
    if isinstance(document, list):
        said = f"line {number} is a list: the first line is a check request, or the defaults"
        raise refusal_of("invalid", [FieldError("", "wrong-type", said)])
    if not isinstance(document, dict):
        return None  # a faulty row like any other, told when its turn comes
    if "defaults" in document:
        return _defaults(document)
    if len(document) == 1:
        (name,) = document
        if hint := nearest(name.casefold(), ("defaults",)):
            said = f"the first line holds {name[:64]!r} and nothing else{hint}"
            raise refusal_of("invalid", [FieldError(pointer(name[:64]), "unknown-field", said)])
    return None


def _defaults(document: dict[str, Any]) -> dict[str, Any]:
    errors = [
        FieldError(f"/{name[:64]}", "unknown-field", "the line of defaults holds nothing else")
        for name in document
        if name != "defaults"
    ]
    found = document["defaults"]
    if not isinstance(found, dict):
        errors.append(FieldError("/defaults", "wrong-type", "an object is needed"))
    else:
        errors += _not_for_all(found)
    if errors:
        raise refusal_of("invalid", errors)
    whole: dict[str, Any] = found
    return whole


def _not_for_all(defaults: dict[str, Any]) -> Iterator[FieldError]:
    """What cannot be right in any line, and would be read again with each."""
    weights = defaults.get("weights")
    if isinstance(weights, dict) and len(weights) > MAX_WEIGHTS:
        yield FieldError("/defaults/weights", "too-many", f"at most {MAX_WEIGHTS} entries")
    if defaults.get("series") is not None:
        said = "a series is of one check: it belongs in the line of that check"
        yield FieldError("/defaults/series", "contradiction", said)


def judge_lines(
    lines: Lines, judge: Judge[Any], profile: Any, counts: Counts, first_row: int = 1
) -> Iterator[RowOutcome]:
    """What becomes of each line; `profile` is that of the batch, for lines that name none.

    `first_row` is the number of the first line in the file that it was split from.
    """
    document_of = Documents(lines.defaults, profile)
    bad: dict[bytes, tuple[Refusal, dict[str, str]]] = {}
    for number, raw in _numbered(lines):
        row = number + first_row - 1
        counts.rows_in += 1
        if raw is None:
            said = f"the line is longer than {lines.longest} bytes"
            yield refused(None, (row,), Refusal("too-large", said))
        elif not raw.strip():
            yield Skipped(None, row)
        elif raw in bad:
            refusal, labels = bad[raw]
            yield refused(None, (row,), refusal, labels=labels)
        else:
            document: Any = None
            try:
                document = document_of(raw)
                kind = kind_of(document)
                yield Answered(None, (row,), kind.slug, judge.judged(kind, document))
            except Refusal as refusal:
                labels = labels_of(document)
                if len(raw) <= _LONGEST_BAD and len(bad) < _BAD:
                    bad[raw] = refusal, labels
                yield refused(None, (row,), refusal, labels=labels)


def _numbered(lines: Lines) -> Iterator[tuple[int, bytes | None]]:
    """Every line with its number; None in place of one that is too long."""
    spool, longest = lines.spool, lines.longest
    spool.seek(lines.begin)
    number = lines.first
    while line := spool.readline(longest + 2):
        content = line.removesuffix(b"\n")
        too_long = len(content) > longest
        while not line.endswith(b"\n") and (line := spool.readline(longest)):
            pass
        yield number, None if too_long else content
        number += 1
