"""The body of a chain of records: a JSON document, or a record a line."""

from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any, BinaryIO, Final, NamedTuple

from marshmallow import ValidationError
from werkzeug.wrappers import Request

from weighworthy_service import json_text
from weighworthy_service.json_text import MalformedJsonError
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.json import parse, read_body
from weighworthy_service.web.spooled_lines import NDJSON, spooled_lines
from weighworthy_service.wire.coded import field_errors
from weighworthy_service.wire.records import ChainRequestForm

JSON: Final = "application/json"
# A record holds a request, its profile and the answer, each of up to a megabyte or so.
MAX_RECORD: Final = 8 * 1024 * 1024
# Verifying one takes milliseconds, and a worker waits.
MAX_RECORDS: Final = 20_000
_FORM: Final = ChainRequestForm()
_SPLIT: Final = "send a longer chain in pieces, each from the last record of the one before"


class Listed(NamedTuple):
    """One entry of a chain; `fault` says why it is no JSON."""

    line: int
    document: Any
    fault: str | None = None


def read_chain(request: Request, limits: BatchLimits, stack: ExitStack) -> Iterator[Listed]:
    """Read a request to its end; entries of lines are parsed when their turn comes.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`, `body-incomplete`,
            `too-slow`, `malformed-json`, `invalid`.
    """
    if request.mimetype == NDJSON:
        return _lines(spooled_lines(request, limits, stack))
    try:
        document = _FORM.load(parse(read_body(request, (JSON, NDJSON), MAX_RECORD)))
    except ValidationError as error:
        raise refusal_of("invalid", field_errors(error.messages)) from None
    entries = enumerate(document["records"], start=1)
    return (Listed(position, record) for position, record in entries)


def _lines(spool: BinaryIO) -> Iterator[Listed]:
    number = found = 0
    while line := spool.readline(MAX_RECORD + 1):
        number += 1
        if len(line) > MAX_RECORD:
            raise Refusal("too-large", f"line {number} is longer than {MAX_RECORD} bytes")
        if line.isspace():
            continue
        found += 1
        if found > MAX_RECORDS:
            raise Refusal("too-large", f"at most {MAX_RECORDS} records are taken: {_SPLIT}")
        try:
            yield Listed(number, json_text.parse(line))
        except MalformedJsonError as error:
            yield Listed(number, None, str(error))
    if not found:
        raise Refusal("malformed-json", "the body is empty: a record a line is needed")
