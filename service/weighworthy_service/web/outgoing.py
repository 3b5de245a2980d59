"""What a client has yet to take of an answer, kept here rather than by the thread that made it.

A thread that sends to somebody who does not read is lost to all others: as many such clients as
there are threads stop a process, and a document that anybody may ask for is enough. So what the
system does not take at once is kept, and the loop of the worker sends it on.
"""

import errno
import socket
from collections.abc import Iterable
from select import POLLOUT, poll
from typing import Any, Final

# Of one connection by the system, in bytes. By itself it would hold megabytes, and tell of room
# only when a third of them is taken: who takes little would look like who takes nothing.
_SYSTEM: Final = 256 * 1024
# Of an answer that is made while it is sent, in bytes: beyond it the next piece waits.
_KEPT: Final = 256 * 1024
# Of all answers of one process, in bytes.
KEPT_BY_ALL: Final = 32 * 1024 * 1024


class NotTakenError(BrokenPipeError):
    """Nobody took anything of an answer for too long."""


class Outgoing(socket.socket):
    """A connection whose `sendall` waits for nobody, as long as little is kept.

    A piece of any size is kept where nothing else is: an answer that is made whole lies in memory
    anyway. One that is made while it is sent waits before the piece that would be too much, at most
    `seconds` while nothing is taken.
    """

    def __init__(self, accepted: socket.socket, seconds: float) -> None:
        family, kind, proto = accepted.family, accepted.type, accepted.proto
        super().__init__(family, kind, proto, fileno=accepted.detach())
        self.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SYSTEM)
        self._seconds = seconds
        self._pieces: list[memoryview] = []

    @property
    def kept(self) -> int:
        """How many bytes have yet to be taken."""
        return sum(map(len, self._pieces))

    def send(self, data: Any, flags: int = 0, /) -> int:
        """As `sendall`: gunicorn tells with it to go on, and would wait for room."""
        self.sendall(data)
        return len(data)

    def sendall(self, data: Any, flags: int = 0, /) -> None:
        """Send, or keep.

        Raises:
            OSError: the other side has gone; NotTakenError: it is there and takes nothing.
        """
        if self._pieces:
            self.send_on()
        while self._pieces and self.kept + len(data) > _KEPT:
            writable = poll()
            writable.register(self, POLLOUT)
            if not writable.poll(self._seconds * 1000):
                said = f"nothing was taken for {self._seconds} s"
                raise NotTakenError(errno.EPIPE, said)
            self.send_on()
        self._pieces.append(memoryview(data))
        if len(self._pieces) == 1:
            self.send_on()

    def send_on(self) -> None:
        """Send of what is kept as much as is taken without waiting.

        Raises:
            OSError: the other side has gone.
        """
        while self._pieces:
            first = self._pieces[0]
            try:
                sent = super().send(first, socket.MSG_DONTWAIT)
            except BlockingIOError:
                return
            if sent < len(first):
                self._pieces[0] = first[sent:]
            else:
                del self._pieces[0]


def too_many(waiting: Iterable[Outgoing], most: int = KEPT_BY_ALL) -> int:
    """How many of these, of which the first have waited longest, must go so that `most` bytes of
    all are kept."""
    sizes = [one.kept for one in waiting]
    kept, gone = sum(sizes), 0
    while kept > most:
        kept -= sizes[gone]
        gone += 1
    return gone
