"""Bodies too large for memory: read whole into a file without a name, before anything is answered.

A client that sends all before it reads would wait for ever on a service that answers while it
reads. And what cannot be read whole must be refused: half a table judged looks like a whole one.
"""

import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from socket import SHUT_RD, SHUT_RDWR
from tempfile import TemporaryFile
from threading import Timer
from typing import Any, BinaryIO, Final, Literal, cast

from werkzeug.exceptions import ClientDisconnected
from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.patience import LATE

_STEP: Final = 256 * 1024
_SHUT: Final = {"upload": SHUT_RD, "download": SHUT_RDWR}


def spool_file(folder: Path | None) -> BinaryIO:
    """An empty file that is gone once it is closed, also when the process is killed."""
    return cast("BinaryIO", TemporaryFile(prefix="weighworthy-", dir=folder))


def body_pieces(request: Request, limit: int) -> Iterator[bytes]:
    """The body of at most `limit` bytes, unpacked if it is gzip, whatever its framing.

    Raises:
        Refusal: `too-large` beyond the limit; `body-incomplete`; `unsupported-media-type`;
            `length-required`, where the server cannot tell where the body ends.
    """
    encoding = request.headers.get("Content-Encoding", "identity").lower()
    if encoding not in ("identity", "gzip"):
        raise Refusal("unsupported-media-type", "of Content-Encoding, gzip is taken")
    length = request.content_length
    chunked = "Transfer-Encoding" in request.headers
    if length is None and not (chunked and request.environ.get("wsgi.input_terminated")):
        raise Refusal("length-required", "send the body with Content-Length, or in chunks")
    if length is not None and length > limit:
        raise _too_large(limit)
    pieces = _sent(request, None if chunked else length)
    size = 0
    for piece in _unpacked(pieces, limit) if encoding == "gzip" else pieces:
        size += len(piece)
        if size > limit:
            raise _too_large(limit)
        yield piece


def _too_large(limit: int) -> Refusal:
    return Refusal("too-large", f"at most {limit} bytes are taken")


def _sent(request: Request, length: int | None) -> Iterator[bytes]:
    stream = request.stream
    got = 0
    while length is None or got < length:
        wanted = _STEP if length is None else min(_STEP, length - got)
        try:
            piece = stream.read(wanted)
        except (OSError, ClientDisconnected) as error:
            raise Refusal("body-incomplete", "the body broke off") from error
        except Exception as error:
            # What a server raises over chunks that are none is its own kind of error.
            raise Refusal("body-incomplete", "the body is not framed as it says") from error
        if not piece:
            break
        got += len(piece)
        yield piece
    if length is not None and got < length:
        raise Refusal("body-incomplete", f"the body broke off after {got} of {length} bytes")


def _unpacked(pieces: Iterator[bytes], limit: int) -> Iterator[bytes]:
    """What one gzip file after another holds, in bounded steps. What is sent is bounded, too."""
    unpacking = None
    packed = 0
    for piece in pieces:
        packed += len(piece)
        if packed > limit:
            raise _too_large(limit)
        rest, full = piece, False
        while rest or full:
            unpacking = unpacking or zlib.decompressobj(wbits=31)
            try:
                out = unpacking.decompress(rest, _STEP)
            except zlib.error:
                raise Refusal("body-incomplete", "the body is not whole gzip") from None
            if out:
                yield out
            # Packed bytes may be used up while what they hold is still inside.
            rest, full = unpacking.unconsumed_tail, len(out) == _STEP
            if unpacking.eof:
                rest, full, unpacking = unpacking.unused_data, False, None
    if unpacking is not None or not packed:
        raise Refusal("body-incomplete", "the body is not whole gzip")


@contextmanager
def deadline(
    environ: dict[str, Any], seconds: float, what: Literal["upload", "download"]
) -> Iterator[list[bool]]:
    """Cut the connection off when this takes longer; what is yielded then holds something.

    A server watches over single reads and writes at best: who sends a byte a minute never stops.
    Without a socket (inside a program) there is nothing to wait for.
    """
    passed: list[bool] = []
    socket = environ.get("gunicorn.socket")
    if socket is None:
        yield passed
        return
    if what == "upload" and socket in LATE:
        passed.append(True)
        yield passed
        return

    def cut() -> None:
        passed.append(True)
        LATE.add(socket)
        with suppress(OSError):  # it was closed in the meantime
            socket.shutdown(_SHUT[what])

    timer = Timer(seconds, cut)
    timer.daemon = True
    timer.start()
    try:
        yield passed
    finally:
        timer.cancel()


@contextmanager
def in_time(environ: dict[str, Any], seconds: float) -> Iterator[None]:
    """Cut off a body that takes longer to read; whatever is refused for that is `too-slow`.

    Raises:
        Refusal: `too-slow`.
    """
    with deadline(environ, seconds, "upload") as passed:
        try:
            yield
        except Refusal:
            if passed:
                raise Refusal("too-slow", f"the body was not there within {seconds} s") from None
            raise
