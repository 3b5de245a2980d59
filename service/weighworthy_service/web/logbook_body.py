"""The body of a logbook: one JSON document, or a line of it all and an entry a line."""

from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from itertools import chain
from typing import Any, BinaryIO, Final, NamedTuple

from werkzeug.wrappers import Request

from weighworthy_service.logbook.book import Sent
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.tables.mapping import TableMapping
from weighworthy_service.web.batch_body import CELLS, CSV, table_of
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.json import MAX_BODY as MAX_MAPPING
from weighworthy_service.web.json import parse, read_body
from weighworthy_service.web.logbook_placed import Placed, SentLine, parse_line
from weighworthy_service.web.logbook_table import opened_table
from weighworthy_service.web.multipart import MULTIPART, read_parts
from weighworthy_service.web.spool import body_pieces, in_time
from weighworthy_service.web.spooled_lines import NDJSON, spooled_lines
from weighworthy_service.wire.coded import FieldError

JSON: Final = "application/json"
# Some ten thousand entries; more come as lines.
MAX_BODY: Final = 8 * 1024 * 1024
_DOCUMENT: Final = "logbook"
_TEXTS: Final = {_DOCUMENT: MAX_BODY, "mapping": MAX_MAPPING}
_SPLIT: Final = f"send more entries as lines: {NDJSON}, the document without them first"


class LogbookBody(NamedTuple):
    """All of a logbook but its entries, as sent; and the entries.

    `read_as`: how the table was read whose rows they are; None without one.
    """

    head: Any
    entries: Iterator[Sent]
    read_as: Mapping[str, Any] | None = None


def read_logbook(
    request: Request, mappings: Mapping[str, TableMapping], limits: BatchLimits, stack: ExitStack
) -> LogbookBody:
    """Read a request to its end. What has to be closed after use is put on the stack.

    Entries of lines are parsed when their turn comes, each at most as long as a line of a batch.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`, `body-incomplete`,
            `too-slow`, `malformed-json`; `invalid`, where entries are no list or there twice; of
            a table, `table-not-usable`, `mapping-not-usable`.
    """
    if request.mimetype == MULTIPART:
        return _parts(request, mappings, limits, stack)
    if request.mimetype == NDJSON:
        return _lines(spooled_lines(request, limits, stack), limits)
    try:
        raw = read_body(request, (JSON, NDJSON, MULTIPART), MAX_BODY)
    except Refusal as refusal:
        if refusal.slug != "too-large":
            raise
        raise Refusal(refusal.slug, f"{refusal}: {_SPLIT}") from None
    return _whole(parse(raw))


def _whole(document: Any) -> LogbookBody:
    if not isinstance(document, dict):
        return LogbookBody(document, iter(()))
    head = {name: value for name, value in document.items() if name != "entries"}
    entries = document.get("entries")
    if entries is None:
        entries = []
    if not isinstance(entries, list):
        raise refusal_of("invalid", [FieldError("/entries", "wrong-type", "a list is needed")])
    places = (Placed(f"/entries/{i}", "", entry) for i, entry in enumerate(entries))
    return LogbookBody(head, places)


def _parts(
    request: Request, mappings: Mapping[str, TableMapping], limits: BatchLimits, stack: ExitStack
) -> LogbookBody:
    """A logbook whose checks are the rows of a table; other entries may come with the document."""
    pieces = body_pieces(request, limits.size)
    with in_time(request.environ, limits.upload):
        parts = read_parts(request, pieces, _TEXTS, limits.spool, stack)
    table = table_of(parts, (CSV, CELLS))
    if _DOCUMENT not in parts.texts:
        said = f"the part {_DOCUMENT!r} is needed beside a table"
        raise refusal_of("invalid", [FieldError("", "required", said)])
    document = _whole(parse(parts.texts[_DOCUMENT]))
    rows, read_as = opened_table(table, mappings, limits)
    return LogbookBody(document.head, chain(document.entries, rows), read_as)


def _lines(spool: BinaryIO, limits: BatchLimits) -> LogbookBody:
    longest = limits.table.line
    # It holds all that a document does but the entries: thousands of results, too.
    most = max(longest, MAX_BODY)
    first = spool.readline(most + 1)
    if len(first) > most:
        raise Refusal("too-large", f"line 1 is longer than {most} bytes")
    head = parse_line(first, 1)
    if isinstance(head, dict) and "entries" in head:
        said = "with lines, entries follow the first line, one a line"
        raise refusal_of("invalid", [FieldError("/entries", "contradiction", said)])
    return LogbookBody(head, _entries(spool, longest, limits.table.rows))


def _entries(spool: BinaryIO, longest: int, most: int) -> Iterator[SentLine]:
    number, position = 1, 0
    while line := spool.readline(longest + 1):
        number += 1
        if len(line) > longest:
            raise Refusal("too-large", f"line {number} is longer than {longest} bytes")
        if line.isspace():
            continue
        if position >= most:
            raise Refusal("too-large", f"at most {most} entries are taken")
        yield SentLine(line, number, position)
        position += 1
