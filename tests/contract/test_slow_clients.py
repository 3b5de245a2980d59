"""Who is slow to send, or is refused while sending, holds no thread of the server of production."""

import json
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import requests

from weighworthy_service.checks.registry import KINDS

CHECK = "/v1/checks/simulated-loss"
SECONDS = 3
# What a probe may take on a busy machine; a held thread would take all of SECONDS, or for ever.
SOON = 2.0
MANY = 20


@pytest.fixture(scope="module")
def address(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
) -> Iterator[str]:
    """One worker of four threads."""
    settings = {"WEIGHWORTHY_WORKERS": "1", "WEIGHWORTHY_REQUEST_SECONDS": str(SECONDS)}
    with serve(tmp_path_factory.mktemp("server"), **settings) as (address, _):
        yield address


@pytest.fixture
def session() -> Iterator[requests.Session]:
    with requests.Session() as opened:
        opened.trust_env = False
        yield opened


def connected(address: str, sent: bytes) -> socket.socket:
    parts = urlsplit(address)
    raw = socket.create_connection((parts.hostname, parts.port), timeout=4 * SECONDS)
    raw.sendall(sent)
    return raw


def head(path: str, *lines: str, host: str = "127.0.0.1") -> bytes:
    return "\r\n".join([f"POST {path} HTTP/1.1", f"Host: {host}", *lines, "", ""]).encode()


JSON = "Content-Type: application/json"
STALLED = {
    "nothing at all": b"",
    "half a head": head(CHECK, JSON)[:-2] + b"X-Half: ",
    "half a body": head(CHECK, JSON, "Content-Length: 5000") + b'{"a',
    "half a body after 100 Continue": head(
        CHECK, JSON, "Content-Length: 5000", "Expect: 100-continue"
    ),
    "half a table": head("/v1/batches", "Content-Type: text/csv", "Content-Length: 5000") + b"a;b",
    "without a key": head(CHECK, JSON, "Content-Length: 500000", host="elsewhere") + b"{",
    "another type": head(CHECK, "Content-Type: image/png", "Content-Length: 500000") + b"{",
    "too much": head(CHECK, JSON, "Content-Length: 50000000000") + b"{",
    "in chunks": head(CHECK, JSON, "Transfer-Encoding: chunked") + b"5\r\nab",
    "large": head(CHECK, JSON, "Content-Length: 500000") + b"{",
    "a large table": head("/v1/batches", "Content-Type: text/csv", "Content-Length: 500000"),
}


@pytest.mark.parametrize("stalled", list(STALLED.values()), ids=list(STALLED))
def test_many_who_stall_leave_threads_for_others(
    address: str, session: requests.Session, stalled: bytes
) -> None:
    with ExitStack() as stack:
        for _ in range(MANY):
            stack.enter_context(connected(address, stalled))
        time.sleep(0.2)
        begin = time.monotonic()
        assert session.get(f"{address}/livez", timeout=30).status_code == 200
        body = KINDS[2].example["request"]
        assert session.post(f"{address}{CHECK}", json=body, timeout=30).status_code == 200
        assert time.monotonic() - begin < SOON


def test_keep_alive_connections_that_begin_a_request_and_stall(
    address: str, session: requests.Session
) -> None:
    with ExitStack() as stack:
        probe = b"GET /livez HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
        for _ in range(MANY):
            raw = stack.enter_context(connected(address, probe))
            assert raw.recv(12) == b"HTTP/1.1 200"
            raw.sendall(b"GET /livez HTT")
        time.sleep(0.2)
        begin = time.monotonic()
        assert session.get(f"{address}/livez", timeout=30).status_code == 200
        assert time.monotonic() - begin < SOON


@pytest.mark.parametrize("length", [5_000, 500_000])
def test_who_sends_a_byte_now_and_then_is_told_and_cut_off(address: str, length: int) -> None:
    begin = time.monotonic()
    with connected(address, head(CHECK, JSON, f"Content-Length: {length}")) as raw:
        raw.settimeout(0.2)
        reply = b""
        while not reply and time.monotonic() < begin + 5 * SECONDS:
            try:
                raw.sendall(b" ")
                reply = b"".join(iter(lambda: raw.recv(65_536), b""))
            except TimeoutError:
                continue
    assert SECONDS - 0.5 < time.monotonic() - begin < 2 * SECONDS
    told, _, body = reply.partition(b"\r\n\r\n")
    assert told.startswith(b"HTTP/1.1 408"), reply
    assert b"connection: close" in told.lower()
    assert json.loads(body)["type"] == "/problems/too-slow"


def test_who_never_ends_a_head_is_cut_off(address: str) -> None:
    begin = time.monotonic()
    with connected(address, b"GET /livez HTTP/1.1\r\nX-Slow: ") as raw:
        assert raw.recv(12) == b"HTTP/1.1 408"
        assert SECONDS - 0.5 < time.monotonic() - begin < 2 * SECONDS


def test_a_head_without_end_is_refused(address: str) -> None:
    with connected(address, b"GET /livez HTTP/1.1\r\n" + b"X-Long: 1\r\n" * 10_000) as raw:
        assert raw.recv(12) == b"HTTP/1.1 431"


def test_a_refusal_says_whether_the_connection_stays(
    address: str, session: requests.Session
) -> None:
    """It stays where nothing is left to read: the next request is answered on it."""
    probe = b"GET /livez HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    small = head(CHECK, "Content-Type: image/png", "Content-Length: 5") + b"abcde"
    with connected(address, small) as raw:
        assert _answers(raw, 1) == [b"415"]
        raw.sendall(probe)
        assert _answers(raw, 1) == [b"200"]
    with connected(address, STALLED["another type"]) as raw:
        told = b"".join(iter(lambda: raw.recv(65_536), b""))
        assert told.startswith(b"HTTP/1.1 415")
        assert b"connection: close" in told.lower()


@pytest.mark.parametrize("size", [2_000_000, 50_000_000])
def test_who_sends_much_in_one_go_still_reads_why_it_is_refused(
    address: str, session: requests.Session, size: int
) -> None:
    response = session.post(
        f"{address}{CHECK}", data=b" " * size, headers={"Content-Type": "application/json"}
    )
    assert response.json()["type"] == "/problems/too-large"


def test_requests_in_one_packet_and_in_many(address: str) -> None:
    body = json.dumps(KINDS[2].example["request"]).encode()
    one = head(CHECK, JSON, f"Content-Length: {len(body)}") + body
    with connected(address, one + one) as raw:
        assert _answers(raw, 2) == [b"200", b"200"]
        # Empty lines before a request are passed over (RFC 9112, 2.2).
        for place in range(0, len(one), 400):
            raw.sendall((b"\r\n" if not place else b"") + one[place : place + 400])
            time.sleep(0.002)
        assert _answers(raw, 1) == [b"200"]


def test_who_expects_it_is_told_to_go_on_once(address: str) -> None:
    body = json.dumps(KINDS[2].example["request"]).encode()
    lines = (JSON, f"Content-Length: {len(body)}", "Expect: 100-continue")
    with connected(address, head(CHECK, *lines)) as raw:
        assert raw.recv(65_536) == b"HTTP/1.1 100 Continue\r\n\r\n"
        raw.sendall(body)
        assert _answers(raw, 1) == [b"200"]


def _answers(raw: socket.socket, number: int) -> list[bytes]:
    """The status of so many answers, read to the end of the last."""
    reader = raw.makefile("rb")
    found = []
    for _ in range(number):
        found.append(reader.readline().split()[1])
        length = 0
        while (line := reader.readline()) != b"\r\n":
            name, _, value = line.partition(b":")
            length = int(value) if name.lower() == b"content-length" else length
        assert len(reader.read(length)) == length
    return found


def test_a_worker_that_stops_waits_for_nobody_who_says_nothing(
    tmp_path: Path, serve: Callable[..., AbstractContextManager[tuple[str, int]]]
) -> None:
    with ExitStack() as stack:
        with serve(tmp_path, WEIGHWORTHY_WORKERS="1") as (address, _):
            for _ in range(3):
                stack.enter_context(connected(address, b""))
            time.sleep(0.2)
            begin = time.monotonic()
        assert time.monotonic() - begin < 6
