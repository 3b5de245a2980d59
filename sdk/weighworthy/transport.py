"""One call over HTTP: attempts, waiting between them, and a total deadline over everything."""

import logging
import queue
import random
import ssl
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any, TypeVar
from urllib.parse import urlsplit

import requests
import urllib3

from weighworthy.errors import (
    ConnectFailed,
    DeadlineExceeded,
    ProtocolError,
    TimedOut,
    TlsFailed,
    TransportError,
)

_T = TypeVar("_T")

_LOG = logging.getLogger("weighworthy")

# Evaluations are pure, so an attempt whose answer was lost may be repeated without harm.
_WORTH_REPEATING = frozenset({429, 502, 503, 504})
_TLS_LOST = (ssl.SSLEOFError, ssl.SSLZeroReturnError, ssl.SSLSyscallError)
_FIRST_PAUSE, _LONGEST_PAUSE = 0.5, 8.0
_LARGEST_ANSWER = 64 * 1024 * 1024
_STREAMED = 64 * 1024
_CHUNK = 4 * 1024  # small, because a read returns only when it is full or the body has ended


@dataclass(frozen=True, slots=True)
class Reply:
    """What came back: status, headers (names in lower case) and the whole body."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def retry_after(self) -> float | None:
        """Seconds to wait, from either form of Retry-After; ``None`` if absent or unreadable."""
        text = self.headers.get("retry-after", "").strip()
        if text.isascii() and text.isdigit():
            return float(text[:9])
        try:
            due = parsedate_to_datetime(text)
            # Against the sender's own clock, which need not agree with this computer's.
            now = parsedate_to_datetime(self.headers["date"])
        except KeyError:
            now = datetime.now(UTC)
        except ValueError:
            return None
        if due.tzinfo is None or now.tzinfo is None:
            return None
        return max(0.0, (due - now).total_seconds())


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A request ready to be sent; ``options`` go to ``session.request`` as they are."""

    session: requests.Session
    method: str
    url: str
    options: Mapping[str, Any]
    request_id: str


@dataclass(frozen=True, slots=True)
class Limits:
    """How long to wait (seconds) and how often to try again."""

    connect: float
    read: float
    retries: int
    deadline: float


@dataclass(frozen=True, slots=True)
class Clock:
    """Time and chance, so that tests need not wait."""

    now: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    chance: Callable[[], float] = random.random


def call(request: Outgoing, limits: Limits, clock: Clock = Clock()) -> Reply:
    """Send until there is an answer worth returning, attempts are used up, or time is out.

    Returns whatever HTTP answer came last, also one of status 4xx or 5xx. Raises `TransportError`,
    or `ProtocolError` for an answer that cannot be read.
    """
    end = clock.now() + limits.deadline
    attempt = 0
    while True:
        outcome = _attempt(request, limits, end, clock)
        attempt += 1
        wait = _pause(attempt, clock)
        if isinstance(outcome, Reply):
            if outcome.status not in _WORTH_REPEATING or attempt > limits.retries:
                return outcome
            wait = wait if outcome.retry_after is None else outcome.retry_after
            if clock.now() + wait >= end:
                return outcome
        elif (
            not isinstance(outcome, ConnectFailed | TimedOut)
            or attempt > limits.retries
            or clock.now() + wait >= end
        ):
            raise outcome
        _LOG.debug("%s %s: again in %.2f s", request.method, _path(request), wait)
        clock.sleep(wait)


def streamed(
    request: Outgoing,
    body: Callable[[], Any],
    limits: Limits,
    take: Callable[[Mapping[str, str], Iterator[bytes]], _T],
    clock: Clock = Clock(),
) -> _T | Reply:
    """Send a body of any size and hand the pieces of the answer to ``take``, as they come.

    ``body`` makes the body anew for every attempt; ``take`` gets the headers (names in lower case)
    and begins anew with every attempt, too. Gives what ``take`` gives; a `Reply` where the service
    refused. There is no deadline over the whole: only silence, of ``limits.read`` seconds, ends it.
    Raises as `call`.
    """
    attempt = 0
    while True:
        attempt += 1
        outcome: _T | Reply | TransportError | ProtocolError
        try:
            outcome = _streamed_once(request, body, limits, take, clock)
        except requests.RequestException as error:
            outcome = _named(error, limits, request)
        wait = _pause(attempt, clock)
        if isinstance(outcome, Reply) and outcome.status in _WORTH_REPEATING:
            wait = wait if outcome.retry_after is None else outcome.retry_after
            if attempt > limits.retries or wait > limits.deadline:
                return outcome
        elif isinstance(outcome, TransportError | ProtocolError):
            if not isinstance(outcome, ConnectFailed | TimedOut) or attempt > limits.retries:
                raise outcome
        else:
            return outcome
        _LOG.debug("%s %s: again in %.2f s", request.method, _path(request), wait)
        clock.sleep(wait)


def _streamed_once(
    request: Outgoing,
    body: Callable[[], Any],
    limits: Limits,
    take: Callable[[Mapping[str, str], Iterator[bytes]], _T],
    clock: Clock,
) -> _T | Reply:
    with request.session.request(
        request.method,
        request.url,
        data=body(),
        timeout=(limits.connect, limits.read),
        stream=True,
        allow_redirects=False,
        **request.options,
    ) as response:
        headers = {name.lower(): value for name, value in response.headers.items()}
        if response.status_code == 200:
            return take(headers, response.iter_content(_STREAMED))
        end = clock.now() + limits.deadline
        return Reply(response.status_code, headers, _body(response, end, clock))


def _attempt(
    request: Outgoing, limits: Limits, end: float, clock: Clock
) -> Reply | TransportError | ProtocolError:
    started = clock.now()
    left = end - started

    def exchange() -> Reply:
        with request.session.request(
            request.method,
            request.url,
            timeout=(min(limits.connect, left), min(limits.read, left)),
            stream=True,
            allow_redirects=False,
            **request.options,
        ) as response:
            headers = {name.lower(): value for name, value in response.headers.items()}
            return Reply(response.status_code, headers, _body(response, end, clock))

    try:
        reply = _within(left, exchange)
    except (requests.RequestException, TimeoutError) as error:
        late = isinstance(error, TimeoutError) or clock.now() >= end
        failure = _late(limits, request) if late else _named(error, limits, request)
        _LOG.debug("%s %s -> %s", request.method, _path(request), type(failure).__name__)
        # Returned, not raised here: the original holds the request and with it the API key.
        return failure
    _LOG.debug(
        "%s %s -> %d in %.0f ms, request id %s",
        request.method,
        _path(request),
        reply.status,
        1000 * (clock.now() - started),
        reply.headers.get("x-request-id", request.request_id),
    )
    return reply


def _within(seconds: float, work: Callable[[], Reply]) -> Reply:
    """Run ``work``, but wait no longer than ``seconds`` for it; then ``TimeoutError``.

    A socket time-out only bounds each single read, so name resolution and headers that trickle
    could hold the caller for hours. A thread is the one portable way to stop waiting for them.
    """
    done: queue.SimpleQueue[Reply | BaseException] = queue.SimpleQueue()

    def run() -> None:
        try:
            done.put(work())
        except BaseException as error:  # raised again in the caller's thread
            done.put(error)

    threading.Thread(target=run, name="weighworthy-call", daemon=True).start()
    try:
        outcome = done.get(timeout=seconds)
    except queue.Empty:
        raise TimeoutError from None
    if isinstance(outcome, BaseException):
        raise outcome
    return outcome


def _body(response: requests.Response, end: float, clock: Clock) -> bytes:
    """Read the body as it comes, so that a trickle is noticed and an endless one is cut."""
    body = bytearray()
    for piece in response.iter_content(_CHUNK):
        body += piece
        if len(body) > _LARGEST_ANSWER:
            size = f"{_LARGEST_ANSWER // 1024 // 1024} MiB"
            raise ProtocolError(f"the answer is larger than {size}", response.status_code)
        if clock.now() >= end:
            raise TimeoutError
    return bytes(body)


def _named(error: Exception, limits: Limits, request: Outgoing) -> TransportError | ProtocolError:
    """Our name for a fault of the libraries below, with its innermost sentence."""
    faults, request_id = requests.exceptions, request.request_id
    # A connection that is lost says nothing of whom it was with.
    if isinstance(error, faults.SSLError) and not isinstance(_innermost(error), _TLS_LOST):
        return TlsFailed(f"no trusted TLS connection: {_reason(error)}", request_id)
    if isinstance(error, faults.ConnectTimeout):
        return ConnectFailed(f"no connection within {limits.connect:g} s", request_id)
    # Silence in the middle of a body comes as a ConnectionError around the urllib3 error.
    if isinstance(error, faults.ReadTimeout) or isinstance(
        next(iter(error.args), None), urllib3.exceptions.ReadTimeoutError
    ):
        return TimedOut(f"no answer within {limits.read:g} s", request_id)
    if isinstance(error, faults.ContentDecodingError):
        return ProtocolError(f"the body cannot be read: {_reason(error)}", request_id=request_id)
    if isinstance(error, faults.ConnectionError | faults.ChunkedEncodingError):
        return ConnectFailed(f"no connection, or it was lost: {_reason(error)}", request_id)
    return TransportError(f"the request could not be sent: {_reason(error)}", request_id)


def _late(limits: Limits, request: Outgoing) -> DeadlineExceeded:
    return DeadlineExceeded(f"no whole answer within {limits.deadline:g} s", request.request_id)


def _innermost(error: BaseException) -> BaseException:
    inner = error
    for _ in range(8):
        below = getattr(inner, "reason", None)
        args = getattr(inner, "args", ())
        below = below or next((a for a in reversed(args) if isinstance(a, BaseException)), None)
        if not isinstance(below, BaseException):
            break
        inner = below
    return inner


def _reason(error: BaseException) -> str:
    """The innermost cause, because the wrappers around it repeat host, port and object ids."""
    inner = _innermost(error)
    text = str(getattr(inner, "strerror", None) or inner)
    return text[:300]


def _pause(attempt: int, clock: Clock) -> float:
    """Seconds before the next attempt: doubling, and at random so that clients do not march."""
    longest = min(_LONGEST_PAUSE, _FIRST_PAUSE * 2.0 ** (attempt - 1))
    return longest * (0.5 + 0.5 * clock.chance())


def _path(request: Outgoing) -> str:
    return urlsplit(request.url).path
