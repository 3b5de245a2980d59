"""The body of a batch: a table alone, or as one part beside its mapping and its profile."""

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any, BinaryIO, Final, Literal

from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.json import MAX_BODY
from weighworthy_service.web.multipart import MULTIPART, Parts, read_parts
from weighworthy_service.web.spool import body_pieces, in_time, spool_file
from weighworthy_service.web.spooled_lines import NDJSON
from weighworthy_service.wire.coded import FieldError

Form = Literal["lines", "csv", "cells"]

CSV: Final = "text/csv"
CELLS: Final = "application/vnd.weighworthy.cells+x-ndjson"
_FORMS: Final[dict[str, Form]] = {NDJSON: "lines", CSV: "csv", CELLS: "cells"}
# What programs call a file of which they only know the name.
_UNSAID: Final = ("", "application/octet-stream", "text/plain")
# How files in the formats of spreadsheet programs begin: packed XML, and what was before it.
_WORKBOOKS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
_TEXTS: Final = {"mapping": MAX_BODY, "profile": MAX_BODY}


@dataclass(frozen=True, slots=True)
class BatchBody:
    """The table, read whole, and the texts of mapping and profile, None where not sent along."""

    form: Form
    table: BinaryIO
    mapping: bytes | None = None
    profile: bytes | None = None


def read_batch(request: Request, limits: BatchLimits, stack: ExitStack) -> BatchBody:
    """Read a request to its end. What has to be closed after use is put on the stack.

    Raises:
        Refusal: `unsupported-media-type`, `length-required`, `too-large`, `body-incomplete`,
            `too-slow`; `invalid`, where parts are missing, unknown or there twice;
            `table-not-usable`, where it is a workbook.
    """
    form = None if request.mimetype == MULTIPART else _form(request.mimetype, (*_FORMS, MULTIPART))
    _refuse_charset(request.mimetype_params)
    pieces = body_pieces(request, limits.size)
    with in_time(request.environ, limits.upload):
        if form is None:
            return table_of(read_parts(request, pieces, _TEXTS, limits.spool, stack), tuple(_FORMS))
        table = stack.enter_context(spool_file(limits.spool))
        for piece in pieces:
            table.write(piece)
        return _checked(BatchBody(form, table))


def table_of(parts: Parts, taken: Sequence[str]) -> BatchBody:
    """The table among the parts of a body, and the texts beside it.

    Args:
        taken: media types that a table may have.

    Raises:
        Refusal: `unsupported-media-type`; `table-not-usable`, where it is a workbook.
    """
    _refuse_charset(parts.parameters)
    form = "csv" if parts.type in _UNSAID else _form(parts.type, taken)
    texts = parts.texts
    return _checked(BatchBody(form, parts.table, texts.get("mapping"), texts.get("profile")))


def _form(mimetype: str, taken: Sequence[str]) -> Form:
    if mimetype not in taken:
        said = f"send Content-Type: {', '.join(taken)}"
        raise Refusal("unsupported-media-type", said)
    return _FORMS[mimetype]


def _refuse_charset(parameters: Any) -> None:
    charset = parameters.get("charset", "utf-8")
    if charset.lower() != "utf-8":
        said = "state the encoding of a table in the [table] part of its mapping, not as charset"
        raise Refusal("unsupported-media-type", said)


def _checked(body: BatchBody) -> BatchBody:
    body.table.seek(0)
    if body.table.read(len(_WORKBOOKS[1])).startswith(_WORKBOOKS):
        said = (
            "this is a workbook: let the client read it, which sends its cells "
            "(`weighworthy evaluate`), or save the sheet as CSV"
        )
        raise refusal_of("table-not-usable", [FieldError("", "workbook", said)])
    body.table.seek(0)
    return body
