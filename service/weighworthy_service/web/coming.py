"""A request while it comes: what is there of it, and how much of it a thread should find."""

import re
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final

from weighworthy_service.web.room import LARGE

# gunicorn reads any number of zeros before a length, too.
_LENGTH: Final = re.compile(
    rb"\r\ncontent-length:[ \t]*0*([0-9]{1,18})[ \t]*(?=\r\n)", re.IGNORECASE
)
_CHUNKED: Final = re.compile(rb"\r\ntransfer-encoding[ \t]*:", re.IGNORECASE)
_EXPECT: Final = re.compile(rb"\r\nexpect:[ \t]*100-continue[ \t]*(?=\r\n)", re.IGNORECASE)
# What a check asks in plain form; no query, which could ask for more.
_CHECK: Final = re.compile(rb"POST /v1/checks/[a-z-]+ HTTP/1\.1\r\n")
_PAGE: Final = re.compile(rb"\r\naccept:[^\r\n]*html", re.IGNORECASE)
# In bytes, with the head. The slowest bodies of this size take some 60 ms.
_SHORT: Final = 4 * 1024
_GO_ON: Final = b"HTTP/1.1 100 Continue\r\n\r\n"


@dataclass(slots=True, eq=False)
class Coming:
    """A request of which `needed` bytes have to be there; None: the head has no end yet. `whole`:
    nothing can come after them that belongs to it."""

    conn: Any
    until: float
    raw: bytearray = field(default_factory=bytearray)
    needed: int | None = None
    whole: bool = False
    polled: bool = False


def needed(coming: Coming, seen: int) -> int | None:
    """How many bytes a thread should find: head and body, or the head alone where the body is
    large or of unknown length, or where gunicorn will refuse it."""
    raw = coming.raw
    end = raw.find(b"\r\n\r\n", seen)
    if end < 0:
        return None
    head = bytes(raw[: end + 2])
    lengths = _LENGTH.findall(head)
    length = int(lengths[0]) if len(lengths) == 1 else 0
    if length > LARGE or _CHUNKED.search(head):
        return end + 4
    if (found := _EXPECT.search(head)) and len(raw) < end + 4 + length:
        with suppress(OSError):
            coming.conn.sock.send(_GO_ON)
        # Once is enough, and gunicorn would say it again.
        del raw[found.start() : found.end()]
        end -= found.end() - found.start()
    said = head.lower()
    stated = 1 if lengths else 0
    coming.whole = (
        said.count(b"content-length") == stated
        and b"transfer-encoding" not in said
        # Who asks for it is told to go on by gunicorn, even where all is there.
        and b"expect" not in said
    )
    return end + 4 + length


def is_short(coming: Coming) -> bool:
    """Whether all of it is there and the answer is made sooner than a thread has been woken."""
    raw, size = coming.raw, coming.needed
    return (
        size is not None
        and coming.whole
        and size <= min(_SHORT, len(raw))
        and _CHECK.match(raw) is not None
        and _PAGE.search(raw, 0, size) is None
    )
