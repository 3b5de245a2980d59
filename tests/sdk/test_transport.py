"""The loop of attempts, with a clock of its own; what goes over sockets is in test_sockets."""

import logging
import ssl
from collections.abc import Iterator
from typing import Any

import pytest
import requests
import responses
from responses.registries import OrderedRegistry

from weighworthy import (
    ConnectFailed,
    DeadlineExceeded,
    ProtocolError,
    TimedOut,
    TlsFailed,
    TransportError,
)
from weighworthy.transport import Clock, Limits, Outgoing, Reply, call

URL = "https://service.example.org/v1/checks/span"
LIMITS = Limits(connect=3, read=30, retries=2, deadline=60)


class FakeTime:
    """Time passes only by sleeping, and chance is always at its largest."""

    def __init__(self) -> None:
        self.at = 1000.0
        self.slept: list[float] = []

    def clock(self) -> Clock:
        return Clock(now=lambda: self.at, sleep=self.sleep, chance=lambda: 1.0)

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.at += seconds


@pytest.fixture
def fake() -> FakeTime:
    return FakeTime()


@pytest.fixture
def mocked() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(registry=OrderedRegistry) as mock:
        yield mock


def send(fake: FakeTime, limits: Limits = LIMITS) -> Reply:
    with requests.Session() as session:
        outgoing = Outgoing(session, "POST", URL, {"data": b"{}"}, "R-7")
        return call(outgoing, limits, fake.clock())


def answers(mocked: responses.RequestsMock, *items: Any) -> None:
    for item in items:
        if isinstance(item, Exception):
            mocked.post(URL, body=item)
        else:
            status, headers = item
            mocked.post(URL, status=status, headers=headers, body=b"{}")


def test_503_then_429_then_an_answer(mocked: responses.RequestsMock, fake: FakeTime) -> None:
    answers(mocked, (503, {}), (429, {"Retry-After": "7"}), (200, {}))
    assert send(fake).status == 200
    assert len(mocked.calls) == 3
    assert fake.slept == [0.5, 7.0]  # first pause of the back-off, then what the service said


def test_pauses_double_and_chance_shortens_them_to_half(
    mocked: responses.RequestsMock, fake: FakeTime
) -> None:
    answers(mocked, *[(503, {})] * 7)
    assert send(fake, Limits(3, 30, 6, 600)).status == 503
    assert fake.slept == [0.5, 1, 2, 4, 8, 8]
    with responses.RequestsMock(registry=OrderedRegistry) as again:
        answers(again, (503, {}), (200, {}))
        low = Clock(now=lambda: 0.0, sleep=fake.sleep, chance=lambda: 0.0)
        with requests.Session() as session:
            call(Outgoing(session, "POST", URL, {}, "R-7"), LIMITS, low)
    assert fake.slept[-1] == 0.25


@pytest.mark.parametrize("status", [502, 503, 504, 429])
def test_the_last_answer_is_returned_when_attempts_are_used_up(
    mocked: responses.RequestsMock, fake: FakeTime, status: int
) -> None:
    answers(mocked, *[(status, {})] * 3)
    assert send(fake).status == status
    assert len(mocked.calls) == 3


@pytest.mark.parametrize("status", [400, 401, 403, 404, 409, 411, 413, 415, 422, 500, 501, 302])
def test_other_answers_are_final(
    mocked: responses.RequestsMock, fake: FakeTime, status: int
) -> None:
    answers(mocked, (status, {"Retry-After": "1"}))
    assert send(fake).status == status
    assert len(mocked.calls) == 1
    assert fake.slept == []


def test_retry_after_beyond_the_deadline_ends_the_call_at_once(
    mocked: responses.RequestsMock, fake: FakeTime
) -> None:
    answers(mocked, (503, {"Retry-After": "60"}))
    assert send(fake).retry_after == 60
    assert fake.slept == []
    assert len(mocked.calls) == 1


@pytest.mark.parametrize(
    ("headers", "seconds"),
    [
        ({"retry-after": "120"}, 120.0),
        ({"retry-after": " 0 "}, 0.0),
        (
            {
                "retry-after": "Wed, 21 Oct 2026 07:28:00 GMT",
                "date": "Wed, 21 Oct 2026 07:27:15 GMT",
            },
            45.0,
        ),
        (
            {
                "retry-after": "Wed, 21 Oct 2026 07:28:00 GMT",
                "date": "Wed, 21 Oct 2026 07:30:00 GMT",
            },
            0.0,
        ),
        ({"retry-after": "Wed, 21 Oct 2015 07:28:00 GMT"}, 0.0),
        ({"retry-after": "soon"}, None),
        ({"retry-after": "-5"}, None),
        ({"retry-after": "1.5"}, None),
        ({"retry-after": "²"}, None),
        ({}, None),
    ],
)
def test_retry_after_in_seconds_or_as_a_date(
    headers: dict[str, str], seconds: float | None
) -> None:
    assert Reply(503, headers, b"").retry_after == seconds


def test_a_lost_connection_is_tried_again(mocked: responses.RequestsMock, fake: FakeTime) -> None:
    answers(mocked, requests.ConnectionError("reset"), requests.ReadTimeout("slow"), (200, {}))
    assert send(fake).status == 200
    assert len(mocked.calls) == 3


@pytest.mark.parametrize(
    ("raised", "named", "attempts"),
    [
        (requests.ConnectionError("reset"), ConnectFailed, 3),
        (requests.ConnectTimeout("x"), ConnectFailed, 3),
        (requests.ReadTimeout("x"), TimedOut, 3),
        (requests.exceptions.ChunkedEncodingError("x"), ConnectFailed, 3),
        (requests.exceptions.ProxyError("x"), ConnectFailed, 3),
        (requests.exceptions.SSLError("x"), TlsFailed, 1),
        (requests.exceptions.SSLError(ssl.SSLEOFError(8, "EOF occurred")), ConnectFailed, 3),
        (requests.exceptions.ContentDecodingError("x"), ProtocolError, 1),
        (requests.exceptions.InvalidHeader("x"), TransportError, 1),
    ],
)
def test_faults_have_our_names(
    mocked: responses.RequestsMock,
    fake: FakeTime,
    raised: Exception,
    named: type[Exception],
    attempts: int,
) -> None:
    answers(mocked, *[raised] * attempts)
    with pytest.raises(named) as caught:
        send(fake)
    assert type(caught.value) is named
    assert len(mocked.calls) == attempts
    assert "R-7" in str(caught.value)
    # What lies below holds the prepared request, and that holds the key.
    assert caught.value.__cause__ is None
    assert caught.value.__context__ is None


def test_no_attempt_begins_after_the_deadline(
    mocked: responses.RequestsMock, fake: FakeTime
) -> None:
    answers(mocked, requests.ConnectionError("reset"))
    with pytest.raises(ConnectFailed):
        send(fake, Limits(connect=3, read=30, retries=5, deadline=0.5))
    assert fake.slept == []
    assert len(mocked.calls) == 1


def test_a_fault_after_the_deadline_is_named_so(
    mocked: responses.RequestsMock, fake: FakeTime
) -> None:
    def late(_: requests.PreparedRequest) -> tuple[int, dict[str, str], bytes]:
        fake.at += 61
        raise requests.ReadTimeout

    mocked.add_callback(responses.POST, URL, late)
    with pytest.raises(DeadlineExceeded, match="60 s"):
        send(fake)


def test_each_attempt_waits_no_longer_than_what_is_left(
    mocked: responses.RequestsMock, fake: FakeTime
) -> None:
    timeouts = []

    def refuse(request: requests.PreparedRequest) -> tuple[int, dict[str, str], bytes]:
        timeouts.append(request.req_kwargs["timeout"])  # type: ignore[attr-defined]
        return 503, {"Retry-After": "45"}, b""

    for _ in range(2):
        mocked.add_callback(responses.POST, URL, refuse)
    assert send(fake).status == 503
    assert timeouts == [(3, 30), (3, 15)]  # 60 s − 45 s are left


def test_the_log_names_the_call_and_nothing_of_its_content(
    mocked: responses.RequestsMock, fake: FakeTime, caplog: pytest.LogCaptureFixture
) -> None:
    answers(mocked, requests.ConnectionError("reset"), (200, {"X-Request-Id": "R-8"}))
    with caplog.at_level(logging.DEBUG, "weighworthy"):
        send(fake)
    lines = [r.getMessage() for r in caplog.records if r.name == "weighworthy"]
    assert lines == [
        "POST /v1/checks/span -> ConnectFailed",
        "POST /v1/checks/span: again in 0.50 s",
        "POST /v1/checks/span -> 200 in 0 ms, request id R-8",
    ]
    assert all(r.levelno == logging.DEBUG for r in caplog.records if r.name == "weighworthy")
