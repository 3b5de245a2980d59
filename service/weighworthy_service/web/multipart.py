"""Bodies of several parts: a table beside the texts that say how it is to be understood."""

from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from io import RawIOBase
from pathlib import Path
from typing import IO, Any, BinaryIO, Final, NamedTuple, cast

from werkzeug.datastructures import FileStorage
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.formparser import MultiPartParser
from werkzeug.http import parse_options_header
from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.web.spool import spool_file
from weighworthy_service.wire.coded import FieldError, nearest

MULTIPART: Final = "multipart/form-data"
TABLE: Final = "table"


class Parts(NamedTuple):
    """The table, with the media type and its parameters that were said of it; and the texts."""

    table: BinaryIO
    type: str
    parameters: Mapping[str, str]
    texts: Mapping[str, bytes]


def read_parts(
    request: Request,
    pieces: Iterator[bytes],
    texts: Mapping[str, int],
    folder: Path | None,
    stack: ExitStack,
) -> Parts:
    """Read all parts; `texts` are those beside the table, each with its longest, in bytes.

    Raises:
        Refusal: `unsupported-media-type`, `too-large`, `body-incomplete`; `invalid`, where parts
            are missing, unknown or there twice.
    """
    boundary = request.mimetype_params.get("boundary", "").encode("ascii", "replace")
    if not boundary:
        raise Refusal("unsupported-media-type", "the Content-Type states no boundary")

    def opened(*_: Any, **__: Any) -> IO[bytes]:
        return stack.enter_context(spool_file(folder))

    known = (TABLE, *texts)
    parser = MultiPartParser(
        opened, max_form_memory_size=max(texts.values()), max_form_parts=len(known) * 2
    )
    try:
        plain, files = parser.parse(cast("IO[bytes]", _Pieces(pieces)), boundary, None)
    except RequestEntityTooLarge:
        beside = ", ".join(f"{name} {longest}" for name, longest in texts.items())
        said = f"parts beside the table take so many bytes ({beside}), and each is there once"
        raise Refusal("too-large", said) from None
    except UnicodeDecodeError:
        said = "the header of a part is not UTF-8: give the file a name in ASCII or UTF-8"
        raise Refusal("body-incomplete", said) from None
    except ValueError:
        raise Refusal("body-incomplete", "the parts of the body have no proper end") from None
    errors: list[FieldError] = []
    for name in [*plain.keys(), *files.keys()]:
        if not isinstance(name, str):
            errors.append(FieldError("", "required", "a part has no name"))
        elif name not in known:
            hint = nearest(name, known)
            errors.append(FieldError("", "unknown-field", f"no part {name[:64]!r}{hint}"))
        elif len(plain.getlist(name)) + len(files.getlist(name)) > 1:
            errors.append(FieldError("", "too-many", f"the part {name!r} is there twice"))
    if TABLE not in files:
        said = f"the part {TABLE!r} is needed, as a file (with a file name)"
        errors.append(FieldError("", "required", said))
    if errors:
        raise refusal_of("invalid", errors)
    table = files[TABLE]
    mimetype, parameters = parse_options_header(table.content_type)
    found = {
        name: plain[name].encode() if name in plain else _text(name, files[name], longest)
        for name, longest in texts.items()
        if name in plain or name in files
    }
    return Parts(cast("BinaryIO", table.stream), mimetype, parameters, found)


def _text(name: str, file: FileStorage, longest: int) -> bytes:
    raw = file.stream.read(longest + 1)
    if len(raw) > longest:
        raise Refusal("too-large", f"the part {name!r} takes at most {longest} bytes")
    return raw


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
