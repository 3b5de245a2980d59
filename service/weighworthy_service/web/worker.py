"""gunicorn's threads, given to nobody who is slow to send or to read, and left before a connection
is closed.

gunicorn itself reads heads, and bodies as the application asks for them, in the threads that
answer, and sends answers there: as many clients as there are threads, each with half a head, or
none of whom reads, stop a process. And it closes in its loop, which waits up to two seconds for
each peer that does not. Here the loop gathers heads and small bodies, sends what was not taken at
once, and lets peers take their time, without waiting for any.

A plain check is answered by the loop itself: it takes less than to wake a thread and to be woken by
it, no answer waits until threads are free, and Python runs one of them at a time anyway.

What remains in a thread, each within its deadline, and `room` lets in a few at once: bodies that
are larger or of unknown length, and answers that are made while they are sent, but for their last
pieces. TLS is left to gunicorn as it is.
"""

import os
import time
from collections import deque
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from select import POLLIN, poll
from selectors import EVENT_READ, EVENT_WRITE
from socket import SHUT_RD, SHUT_WR
from typing import Any, Final

from gunicorn.workers.gthread import ThreadWorker  # type: ignore[import-untyped]

from weighworthy_service.web.coming import Coming, is_short, needed
from weighworthy_service.web.metrics import process_metrics
from weighworthy_service.web.outgoing import NotTakenError, Outgoing, too_many
from weighworthy_service.web.patience import LATE, at_hand, request_seconds
from weighworthy_service.web.server_settings import ServerSettings
from weighworthy_service.web.unread import InOurForm, refusal

_PIECE: Final = 64 * 1024
# gunicorn's own limits are tighter for a line; together lines could be longer.
_LONGEST_HEAD: Final = 64 * 1024
_TOO_SLOW: Final = (408, "Request Timeout", "the head of the request took too long to come")
_TOO_LONG: Final = (
    431,
    "Request Header Fields Too Large",
    f"the head of the request has no end within {_LONGEST_HEAD} bytes",
)
# How long, in s, and for how many bytes a peer may go on sending that was answered. Without it the
# answer could be lost to those who send all before they read.
_LINGER: Final = 2.0
_LEFT_OVER: Final = 8 * 1024 * 1024
_SWEEP: Final = 0.25
# How long, in s, plain checks are answered before others have their turn, and how many connections
# are taken in one: whoever sends many at once keeps neither the heartbeat nor others waiting.
_TURN: Final = 0.05
_AT_ONCE: Final = 64


@dataclass(slots=True, eq=False)
class _Leaving:
    """A connection that has its last answer."""

    conn: Any
    until: float
    left_over: int = 0


@dataclass(slots=True, eq=False)
class _Going:
    """An answer that has not been taken whole; `done` of the thread that made it."""

    conn: Any
    done: Any
    until: float


class Worker(ThreadWorker):  # type: ignore[misc]
    """The worker of production. Everything here runs in its one loop, but `handle_request` where
    a thread answers."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._seconds = request_seconds(os.environ)
        self._coming: set[Coming] = set()
        self._due: deque[Coming] = deque()
        self._answer_seconds = ServerSettings.from_environment(os.environ).answer
        # In the order in which they began to wait.
        self._going: dict[_Going, None] = {}
        self._leaving: set[_Leaving] = set()
        self._swept = 0.0

    def set_accept_enabled(self, enabled: bool) -> None:
        """Take new connections or not; at the end, those that wait already, and then none.

        gunicorn keeps listening until the last answer is sent: whoever connects meanwhile would be
        neither refused, and so sent elsewhere, nor served.
        """
        super().set_accept_enabled(enabled)
        if enabled or self.alive:
            return
        for listener in self.sockets:
            waiting = poll()
            waiting.register(listener, POLLIN)
            for _ in range(self.cfg.backlog):
                if not waiting.poll(0):
                    break
                super().accept(listener)
            listener.close()

    def accept(self, listener: Any) -> None:
        """Take those who wait to connect."""
        for _ in range(_AT_ONCE):
            before = self.nr_conns
            super().accept(listener)
            if not before < self.nr_conns < self.worker_connections:
                break

    def wait_for_and_dispatch_events(self, timeout: float) -> None:
        """A turn of the loop: read what has come, then answer for a while."""
        super().wait_for_and_dispatch_events(0 if self._due else timeout)
        until = time.monotonic() + _TURN
        while self._due and time.monotonic() < until:
            self._answer(self._due.popleft())

    def enqueue_req(self, conn: Any) -> None:
        """Give a connection to a thread as soon as a request is there."""
        if self.cfg.is_ssl:
            super().enqueue_req(conn)
            return
        if not conn.initialized:
            conn.sock = Outgoing(conn.sock, self._answer_seconds)
        conn.init()
        conn.data_ready = True
        conn.sock.setblocking(False)
        coming = Coming(conn, time.monotonic() + self.cfg.keepalive)
        self._coming.add(coming)
        if begun := conn.parser.unreader.take_buffered():
            self._more(coming, begun)
        else:
            self._read(coming)

    def _read(self, coming: Coming, _sock: Any = None) -> None:
        try:
            piece = coming.conn.sock.recv(_PIECE)
        except BlockingIOError:
            self._poll(coming)
        except OSError:
            self._drop(coming)
        else:
            self._more(coming, piece)

    def _more(self, coming: Coming, piece: bytes) -> None:
        raw = coming.raw
        if not raw:
            coming.until = time.monotonic() + self._seconds
        seen = max(0, len(raw) - 3)
        raw += piece
        if coming.needed is None:
            while raw.startswith(b"\r\n"):
                del raw[:2]
            coming.needed = needed(coming, seen)
        if not piece and not raw:
            self._drop(coming)
        elif is_short(coming):
            self._unpoll(coming)
            self._due.append(coming)
        elif not piece or (coming.needed is not None and len(raw) >= coming.needed):
            self._hand_over(coming)
        elif coming.needed is None and len(raw) > _LONGEST_HEAD:
            self._refuse(coming, _TOO_LONG)
        else:
            self._poll(coming)

    def _poll(self, coming: Coming) -> None:
        if not coming.polled:
            coming.polled = True
            self.poller.register(coming.conn.sock, EVENT_READ, partial(self._read, coming))

    def _unpoll(self, coming: Coming) -> None:
        self._coming.discard(coming)
        if coming.polled:
            self.poller.unregister(coming.conn.sock)

    def _hand_over(self, coming: Coming) -> None:
        self._unpoll(coming)
        coming.conn.parser.unreader.unread(bytes(coming.raw))
        super().enqueue_req(coming.conn)

    def _answer(self, coming: Coming) -> None:
        """Answer in the loop. Nothing of it waits: neither for the body, which is there, nor for
        the peer, for whom `Outgoing` keeps what is not taken."""
        conn = coming.conn
        conn.parser.unreader.unread(bytes(coming.raw))
        done: Future[Any] = Future()
        try:
            done.set_result(self.handle(conn))
        except (Exception, SystemExit) as error:
            # A signal says so here; otherwise it concerns one request, as it would in a thread.
            if isinstance(error, SystemExit) and not self.alive:
                raise
            done.set_exception(error)
        self.finish_request(conn, done)

    def _drop(self, coming: Coming) -> None:
        self._unpoll(coming)
        self._gone(coming.conn)

    def _refuse(self, coming: Coming, why: tuple[int, str, str]) -> None:
        process_metrics().unread(why[0])
        self._unpoll(coming)
        with suppress(OSError):
            coming.conn.sock.send(refusal(*why))
        self._leave(coming.conn)

    def handle_request(self, req: Any, conn: Any) -> bool:
        """Answer; the connection stays only where nothing of the body has yet to come."""
        closes, sock = req.should_close(), conn.sock
        # Asked when the head of the answer is written, and after the answer.
        req.should_close = lambda: closes or sock in LATE or not at_hand(req.body)
        try:
            return bool(super().handle_request(req, conn))
        except NotTakenError as error:
            self.log.warning("an answer broke off: %s", error.strerror)
            raise

    def handle_error(self, req: Any, client: Any, addr: Any, exc: Exception) -> None:
        """Tell what is no request in the form of all problems."""
        super().handle_error(req, InOurForm(client, exc), addr, exc)

    def finish_request(self, conn: Any, fs: Any) -> None:
        """After an answer: send what was not taken, wait for another request, or close."""
        if self.cfg.is_ssl or not conn.sock.kept:
            self._finished(conn, fs)
            return
        going = _Going(conn, fs, time.monotonic() + self._answer_seconds)
        conn.sock.setblocking(False)
        self.poller.register(conn.sock, EVENT_WRITE, partial(self._send_on, going))
        self._going[going] = None
        gone = too_many(one.conn.sock for one in self._going)
        for longest in list(self._going)[:gone]:
            self._cut(longest, "too much is kept for those who do not read")

    def _send_on(self, going: _Going, _sock: Any = None) -> None:
        try:
            going.conn.sock.send_on()
        except OSError:
            self._ungo(going)
            self._gone(going.conn)
            return
        if not going.conn.sock.kept:
            self._ungo(going)
            self._finished(going.conn, going.done)

    def _ungo(self, going: _Going) -> None:
        del self._going[going]
        self.poller.unregister(going.conn.sock)

    def _cut(self, going: _Going, why: str) -> None:
        left = going.conn.sock.kept
        self.log.warning("an answer broke off, %d bytes before its end: %s", left, why)
        self._ungo(going)
        self._gone(going.conn)

    def _finished(self, conn: Any, fs: Any) -> None:
        stays = not fs.cancelled() and fs.exception() is None and fs.result()
        if stays or self.cfg.is_ssl:
            super().finish_request(conn, fs)
        else:
            self._leave(conn)

    def _leave(self, conn: Any) -> None:
        leaving = _Leaving(conn, time.monotonic() + _LINGER)
        try:
            conn.sock.setblocking(False)
            conn.sock.shutdown(SHUT_WR)
            self.poller.register(conn.sock, EVENT_READ, partial(self._pour, leaving))
        except (OSError, ValueError):  # it is closed already
            self._gone(conn)
        else:
            self._leaving.add(leaving)

    def _pour(self, leaving: _Leaving, _sock: Any = None) -> None:
        try:
            piece = leaving.conn.sock.recv(_PIECE)
        except BlockingIOError:
            return
        except OSError:
            piece = b""
        leaving.left_over += len(piece)
        if not piece or leaving.left_over > _LEFT_OVER:
            self._left(leaving)

    def _left(self, leaving: _Leaving) -> None:
        self._leaving.discard(leaving)
        self.poller.unregister(leaving.conn.sock)
        self._gone(leaving.conn)

    def _gone(self, conn: Any) -> None:
        self.nr_conns -= 1
        conn.close()

    def murder_pending(self) -> None:
        """End what takes too long; gunicorn calls this after every turn of the loop."""
        super().murder_pending()
        if self.nr_conns >= self.worker_connections:
            self._make_places()
        now = time.monotonic()
        if now < self._swept + _SWEEP:
            return
        self._swept = now
        for going in [one for one in self._going if one.until < now]:
            self._cut(going, f"it was not taken within {self._answer_seconds} s")
        for leaving in [one for one in self._leaving if one.until < now]:
            self._left(leaving)
        for coming in [one for one in self._coming if one.until < now]:
            if not coming.raw:
                self._drop(coming)
            elif coming.needed is None:
                self._refuse(coming, _TOO_SLOW)
            else:
                # The application tells what is wrong, in its own form.
                LATE.add(coming.conn.sock)
                with suppress(OSError):
                    coming.conn.sock.shutdown(SHUT_RD)
                self._hand_over(coming)

    def _make_places(self) -> None:
        """Otherwise those who connect and say nothing shut out all others, keys or none."""
        # Who has begun a request goes after those who have not.
        waiting = sorted(self._coming, key=lambda one: (bool(one.raw), one.until))
        for longest in waiting[: max(1, self.worker_connections // 16)]:
            if longest.raw:
                process_metrics().unread(503)
            self._drop(longest)

    def _cap_keepalive(self, deadline: float) -> None:
        super()._cap_keepalive(deadline)
        for coming in self._coming:
            if not coming.raw:
                coming.until = min(coming.until, deadline)
