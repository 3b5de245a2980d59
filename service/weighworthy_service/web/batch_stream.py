"""The answer of a batch while it is sent: what it may take, and what is said if it breaks off."""

import logging
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from typing import Any, Final

from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.web.spool import deadline

_LOG: Final = logging.getLogger("weighworthy_service")


class WorkTooLongError(Exception):
    """Judging took more time of a processor than one batch may take."""


def within(pieces: Iterable[bytes], seconds: float) -> Iterator[bytes]:
    """The same pieces, as long as making them takes this thread no more CPU time, in s.

    Raises:
        WorkTooLongError: it took more; what took it is given out before.
    """
    source, spent = iter(pieces), 0.0
    while spent <= seconds:
        begin = time.thread_time()
        piece = next(source, None)
        spent += time.thread_time() - begin
        if piece is None:
            return
        yield piece
    said = f"judging took more than {seconds} s of a processor: send smaller batches"
    raise WorkTooLongError(said)


def closed(
    lines: Iterable[bytes], request_id: str, last: Callable[[str], bytes]
) -> Iterator[bytes]:
    """The lines, and in place of the rest of them, where something breaks, one that says so."""
    try:
        yield from lines
    except (TableNotUsable, WorkTooLongError) as error:
        told = "request %s broke off: %s"
        _LOG.warning(told, request_id, _why(error), extra={"request_id": request_id})
        yield last(str(error))
    except Exception as error:
        extra = {"request_id": request_id}
        _LOG.error("request %s broke off", request_id, exc_info=error, extra=extra)
        yield last(f"the service failed; its log has the cause under {request_id}")


def timed(
    pieces: Iterator[bytes],
    environ: dict[str, Any],
    seconds: float,
    opened: ExitStack,
    request_id: str,
) -> Iterator[bytes]:
    """The pieces, as long as they are taken in time. That they are not taken to the end is logged:
    the status of the answer, which says nothing of it, has gone by then.

    Raises:
        ConnectionAbortedError: the answer must not look whole.
    """
    lines = size = 0
    late: list[bool] = []
    try:
        with opened, deadline(environ, seconds, "download") as late:
            for piece in pieces:
                if late:
                    raise ConnectionAbortedError("the answer was not taken in time")
                yield piece
                lines, size = lines + piece.count(b"\n"), size + len(piece)
    except BaseException as error:
        why = f"it was not taken within {seconds} s" if late else _why(error)
        told = "request %s: the answer broke off after %d lines, %d bytes: %s"
        # Who leaves before the first piece was after the headers, and nothing is lost.
        level = logging.INFO if isinstance(error, GeneratorExit) and not size else logging.WARNING
        _LOG.log(level, told, request_id, lines, size, why, extra={"request_id": request_id})
        if isinstance(error, WorkTooLongError):
            raise ConnectionAbortedError(why) from None
        raise


def _why(error: BaseException) -> str:
    """What the log may hold: the client is told more, which quotes what it has sent."""
    if isinstance(error, GeneratorExit):
        return "the client went away"
    if isinstance(error, TableNotUsable):
        return ", ".join(fault.code for fault in error.errors)
    if isinstance(error, WorkTooLongError | ConnectionAbortedError):
        return str(error)
    return type(error).__name__
