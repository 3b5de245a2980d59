"""The body of a batch: a table alone, or as one part beside its mapping and its profile."""

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from io import RawIOBase
from typing import IO, Any, BinaryIO, Final, Literal, cast

from werkzeug.datastructures import FileStorage
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.formparser import MultiPartParser
from werkzeug.http import parse_options_header
from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.json import MAX_BODY
from weighworthy_service.web.spool import body_pieces, deadline, spool_file
from weighworthy_service.wire.coded import FieldError, nearest

Form = Literal["lines", "csv", "cells"]

NDJSON: Final = "application/x-ndjson"
CSV: Final = "text/csv"
CELLS: Final = "application/vnd.weighworthy.cells+x-ndjson"
MULTIPART: Final = "multipart/form-data"
_FORMS: Final[dict[str, Form]] = {NDJSON: "lines", CSV: "csv", CELLS: "cells"}
# What programs call a file of which they only know the name.
_UNSAID: Final = ("", "application/octet-stream", "text/plain")
# How files in the formats of spreadsheet programs begin: packed XML, and what was before it.
_WORKBOOKS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
_PARTS: Final = ("table", "mapping", "profile")


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
    form = None if request.mimetype == MULTIPART else _form(request.mimetype)
    _refuse_charset(request.mimetype_params)
    pieces = body_pieces(request, limits.size)
    try:
        with deadline(request.environ, limits.upload, "upload") as passed:
            if form is None:
                return _parts(request, _Pieces(pieces), limits, stack)
            table = stack.enter_context(spool_file(limits.spool))
            for piece in pieces:
                table.write(piece)
            return _checked(BatchBody(form, table))
    except Refusal:
        if passed:
            raise Refusal("too-slow", "the body was not there in time") from None
        raise


def _form(mimetype: str) -> Form:
    form = _FORMS.get(mimetype)
    if form is None:
        wanted = ", ".join((*_FORMS, MULTIPART))
        raise Refusal("unsupported-media-type", f"send Content-Type: {wanted}")
    return form


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


class _Pieces(RawIOBase):
    """Pieces of bytes as a stream, for a parser that wants one."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        super().__init__()
        self._pieces, self._rest = pieces, b""

    def read(self, size: int = -1) -> bytes:
        while not self._rest:
            piece = next(self._pieces, None)
            if piece is None:
                return b""
            self._rest = piece
        size = len(self._rest) if size < 0 else size
        out, self._rest = self._rest[:size], self._rest[size:]
        return out


def _parts(request: Request, stream: _Pieces, limits: BatchLimits, stack: ExitStack) -> BatchBody:
    boundary = request.mimetype_params.get("boundary", "").encode("ascii", "replace")
    if not boundary:
        raise Refusal("unsupported-media-type", "the Content-Type states no boundary")

    def opened(*_: Any, **__: Any) -> IO[bytes]:
        return stack.enter_context(spool_file(limits.spool))

    parser = MultiPartParser(opened, max_form_memory_size=MAX_BODY, max_form_parts=len(_PARTS) * 2)
    try:
        texts, files = parser.parse(cast("IO[bytes]", stream), boundary, None)
    except RequestEntityTooLarge:
        said = f"mapping and profile take {MAX_BODY} bytes, and there are three parts at most"
        raise Refusal("too-large", said) from None
    except UnicodeDecodeError:
        said = "the header of a part is not UTF-8: give the file a name in ASCII or UTF-8"
        raise Refusal("body-incomplete", said) from None
    except ValueError:
        raise Refusal("body-incomplete", "the parts of the body have no proper end") from None
    errors: list[FieldError] = []
    names = [*texts.keys(), *files.keys()]
    for name in names:
        if not isinstance(name, str):
            errors.append(FieldError("", "required", "a part has no name"))
        elif name not in _PARTS:
            hint = nearest(name, _PARTS)
            errors.append(FieldError("", "unknown-field", f"no part {name[:64]!r}{hint}"))
        elif len(texts.getlist(name)) + len(files.getlist(name)) > 1:
            errors.append(FieldError("", "too-many", f"the part {name!r} is there twice"))
    if "table" not in files:
        said = "the part 'table' is needed, as a file (with a file name)"
        errors.append(FieldError("", "required", said))
    if errors:
        raise refusal_of("invalid", errors)
    table = files["table"]
    mimetype, parameters = parse_options_header(table.content_type)
    _refuse_charset(parameters)
    mapping, profile = (
        texts[name].encode() if name in texts else _text(name, files.get(name))
        for name in ("mapping", "profile")
    )
    form = "csv" if mimetype in _UNSAID else _form(mimetype)
    return _checked(BatchBody(form, cast("BinaryIO", table.stream), mapping, profile))


def _text(name: str, file: FileStorage | None) -> bytes | None:
    if file is None:
        return None
    raw = file.stream.read(MAX_BODY + 1)
    if len(raw) > MAX_BODY:
        raise Refusal("too-large", f"the part {name!r} takes at most {MAX_BODY} bytes")
    return raw
