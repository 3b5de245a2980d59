"""A body of lines of JSON that is too large for memory: of a logbook, or of a chain of records."""

from contextlib import ExitStack
from typing import BinaryIO, Final

from werkzeug.wrappers import Request

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.spool import body_pieces, in_time, spool_file

NDJSON: Final = "application/x-ndjson"


def spooled_lines(request: Request, limits: BatchLimits, stack: ExitStack) -> BinaryIO:
    """The body, read to its end, at its beginning; the stack closes it.

    Raises:
        Refusal: `unsupported-media-type`, where it is not in UTF-8; `length-required`,
            `too-large`, `body-incomplete`, `too-slow`.
    """
    charset = request.mimetype_params.get("charset", "utf-8")
    if charset.lower() != "utf-8":
        raise Refusal("unsupported-media-type", f"send Content-Type: {NDJSON}, in UTF-8")
    with in_time(request.environ, limits.upload):
        spool = stack.enter_context(spool_file(limits.spool))
        for piece in body_pieces(request, limits.size):
            spool.write(piece)
    spool.seek(0)
    return spool
