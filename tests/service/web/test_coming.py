"""What is known of a request before anything of it is parsed."""

import pytest

from weighworthy_service.web.coming import Coming, is_short, needed
from weighworthy_service.web.room import LARGE

CHECK = b"POST /v1/checks/span HTTP/1.1\r\nHost: 127.0.0.1\r\n"


class Said:
    """A connection that keeps what is sent on it."""

    def __init__(self) -> None:
        self.sock, self.sent = self, b""

    def send(self, data: bytes) -> None:
        self.sent += data


def coming(raw: bytes) -> Coming:
    found = Coming(Said(), until=0.0, raw=bytearray(raw))
    found.needed = needed(found, 0)
    return found


def test_a_head_without_end_needs_nobody_knows_how_much() -> None:
    assert coming(CHECK).needed is None
    assert not is_short(coming(CHECK))


@pytest.mark.parametrize("length", [b"Content-Length: 2", b"content-length:0002 "])
def test_head_and_body_are_needed(length: bytes) -> None:
    head = CHECK + length + b"\r\n\r\n"
    assert coming(head).needed == len(head) + 2
    assert not is_short(coming(head + b"{"))
    assert is_short(coming(head + b"{}"))
    # What comes after it is of another request.
    assert is_short(coming(head + b"{}" + CHECK))


@pytest.mark.parametrize(
    "line", [b"Content-Length: %d" % (LARGE + 1), b"Transfer-Encoding: chunked"]
)
def test_of_large_bodies_and_of_those_of_unknown_length_the_head_is_enough(line: bytes) -> None:
    head = CHECK + line + b"\r\n\r\n"
    found = coming(head)
    assert found.needed == len(head)
    assert not is_short(found)


def test_who_waits_to_be_told_is_told_once() -> None:
    found = coming(CHECK + b"Expect: 100-continue\r\nContent-Length: 2\r\n\r\n")
    assert found.conn.sent == b"HTTP/1.1 100 Continue\r\n\r\n"
    assert b"Expect" not in found.raw
    assert found.needed == len(found.raw) + 2


@pytest.mark.parametrize(
    ("line", "short"),
    [
        (b"Accept: application/json", True),
        (b"Accept: */*", True),
        (b"X-Note: html", True),
        (b"Accept: text/html", False),
        (b"accept:application/xhtml+xml;q=0.9, */*", False),
        (b"Expect: 100-continue", False),
        # A length that is stated twice, or in no form that is understood here.
        (b"Content-Length: 2", False),
        (b"Content-Length : 2, 2", False),
        (b"X-Note: transfer-encoding", False),
    ],
)
def test_what_is_answered_at_once(line: bytes, short: bool) -> None:
    assert is_short(coming(CHECK + line + b"\r\nContent-Length: 2\r\n\r\n{}")) is short


@pytest.mark.parametrize(
    "line",
    [
        b"POST /v1/checks/span?explain=true HTTP/1.1",
        b"GET /v1/checks/span HTTP/1.1",
        b"POST /v1/batches HTTP/1.1",
        b"POST /v1/checks/span/ HTTP/1.1",
        b"POST /v1/checks/span HTTP/1.0",
    ],
)
def test_only_plain_checks_are(line: bytes) -> None:
    assert not is_short(coming(line + b"\r\nContent-Length: 2\r\n\r\n{}"))


def test_only_short_ones_are() -> None:
    head = CHECK + b"Content-Length: %d\r\n\r\n"
    room = 4096 - len(head % 4000)
    assert is_short(coming(head % room + b" " * room))
    assert not is_short(coming(head % (room + 1) + b" " * (room + 1)))
