"""Who is slow to send or to read, or is refused while sending, holds no thread of the server of
production."""

import json
import os
import signal
import socket
import sys
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
linux = pytest.mark.skipif(sys.platform != "linux", reason="needs /proc")


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
    "half a body, its length with zeros before": head(
        CHECK, JSON, "Content-Length: 0000000000000000000005000"
    ),
    "half a body, of chunks the talk is elsewhere": head(
        CHECK, JSON, "X-Note: transfer-encoding", "Content-Length: 5000"
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


def test_as_many_as_a_process_takes_shut_nobody_out(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
    session: requests.Session,
) -> None:
    """Who has waited longest without a request goes when all places are taken."""
    folder, few = tmp_path_factory.mktemp("server"), "--worker-connections=40"
    with serve(folder, few, WEIGHWORTHY_WORKERS="1") as (address, _), ExitStack() as stack:
        for sent in (b"", b"GET /livez HT"):
            for _ in range(60):
                stack.enter_context(connected(address, sent))
            time.sleep(0.5)
            before = time.monotonic()
            assert session.get(f"{address}/livez", timeout=4 * SOON).status_code == 200
            assert time.monotonic() - before < SOON


def test_who_never_ends_a_head_is_cut_off(address: str) -> None:
    begin = time.monotonic()
    with connected(address, b"GET /livez HTTP/1.1\r\nX-Slow: ") as raw:
        assert raw.recv(12) == b"HTTP/1.1 408"
        assert SECONDS - 0.5 < time.monotonic() - begin < 2 * SECONDS


def test_a_head_without_end_is_refused(address: str) -> None:
    with connected(address, b"GET /livez HTTP/1.1\r\n" + b"X-Long: 1\r\n" * 10_000) as raw:
        assert raw.recv(12) == b"HTTP/1.1 431"


NO_REQUESTS = {
    "no HTTP": (b"what is this\r\n\r\n", 400),
    "a header without its name": (b"GET /livez HTTP/1.1\r\n: nothing\r\n\r\n", 400),
    "a long address": (b"GET /" + b"a" * 5000 + b" HTTP/1.1\r\n\r\n", 414),
    "many headers": (b"GET /livez HTTP/1.1\r\n" + b"X-Many: 1\r\n" * 60 + b"\r\n", 431),
    "a long header": (b"GET /livez HTTP/1.1\r\nX: " + b"a" * 9000 + b"\r\n\r\n", 431),
    "a head without end": (b"GET /livez HTTP/1.1\r\n" + b"X-Long: 1\r\n" * 10_000, 431),
}


@pytest.mark.parametrize("sent", NO_REQUESTS)
def test_what_is_no_request_is_told_as_every_problem_is(address: str, sent: str) -> None:
    raw_request, status = NO_REQUESTS[sent]
    with connected(address, raw_request) as raw:
        reply = b"".join(iter(lambda: raw.recv(65_536), b""))
    head, _, body = reply.partition(b"\r\n\r\n")
    assert head.startswith(f"HTTP/1.1 {status} ".encode()), reply
    assert b"content-type: application/problem+json" in head.lower(), reply
    told = json.loads(body)
    assert (told["type"], told["status"]) == ("about:blank", status)
    assert told["detail"]


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


# Readers


# Open to everybody, and so often that no system holds all answers for who does not read.
DOCUMENT = b"GET /openapi.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
OFTEN = 12
# In bytes; the system of the server takes no more than about that of an answer nobody reads.
FULL = 200_000
READERS = 8
LINES = json.dumps({"defaults": {"check": "simulated-loss", **KINDS[2].example["request"]}})
BATCH = LINES.encode() + b"\n" + 2000 * b"{}\n"
BATCHES = head("/v1/batches", "Content-Type: application/x-ndjson", f"Content-Length: {len(BATCH)}")


def reader(address: str, sent: bytes) -> socket.socket:
    """Who asks, and takes as little of the answer as a system allows."""
    parts = urlsplit(address)
    raw = socket.socket()
    # Set before it connects, it bounds what the other side may send.
    raw.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    raw.settimeout(30)
    raw.connect((parts.hostname, parts.port))
    raw.sendall(sent)
    return raw


def backlog(address: str) -> list[int]:
    """How many bytes the system holds for each connection of the server (Linux)."""
    end = f":{urlsplit(address).port:04X}"
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    # Those that are established; of the rest nobody takes anything.
    return [int(row[4][:8], 16) for row in rows if row[1].endswith(end) and row[3] == "01"]


def until(true: Callable[[], object], seconds: float) -> float:
    """How long it takes until this is so, in s."""
    begin = time.monotonic()
    while not true():
        assert time.monotonic() - begin < seconds, "it never came true"
        time.sleep(0.05)
    return time.monotonic() - begin


def heavy(address: str, session: requests.Session) -> float:
    """How many heavy requests are at work."""
    told = session.get(f"{address}/metrics", timeout=30).text
    (line,) = [line for line in told.splitlines() if line.startswith("weighworthy_heavy_in_use ")]
    return float(line.split()[1])


def spooled(pid: int, folder: Path) -> list[str]:
    """The files without a name there that the worker of a server holds open (Linux)."""
    (worker,) = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    links = [os.readlink(one) for one in Path(f"/proc/{worker}/fd").iterdir() if one.is_symlink()]
    return [link for link in links if link.startswith(f"{folder}/") and link.endswith("(deleted)")]


@linux
@pytest.mark.parametrize(
    ("sent", "stuck"),
    [(DOCUMENT * OFTEN, READERS), (BATCHES + BATCH, 2)],
    ids=["documents", "batches"],
)
def test_many_who_do_not_read_leave_threads_for_others(
    address: str, session: requests.Session, sent: bytes, stuck: int
) -> None:
    """More of them than threads. Of batches the others are refused, with when to come again."""
    with ExitStack() as stack:
        for _ in range(READERS):
            stack.enter_context(reader(address, sent))
        # The system takes nothing more, and that is why the rest waits.
        until(lambda: len([one for one in backlog(address) if one > FULL]) >= stuck, 30)
        time.sleep(0.5)
        begin = time.monotonic()
        assert session.get(f"{address}/livez", timeout=30).status_code == 200
        body = KINDS[2].example["request"]
        assert session.post(f"{address}{CHECK}", json=body, timeout=30).status_code == 200
        assert time.monotonic() - begin < SOON
    # Who goes is noticed.
    until(lambda: heavy(address, session) == 0, 10)


@linux
def test_who_reads_late_gets_all_of_every_answer(address: str, session: requests.Session) -> None:
    expected = session.get(f"{address}/openapi.json", timeout=30).content
    with reader(address, DOCUMENT * OFTEN) as raw:
        until(lambda: max(backlog(address)) > FULL, 10)
        assert len(expected) * OFTEN > 4 * max(backlog(address))
        answers = raw.makefile("rb")
        for _ in range(OFTEN):
            length = 0
            while (line := answers.readline()) != b"\r\n":
                length = int(line[15:]) if line.startswith(b"Content-Length:") else length
            assert answers.read(length) == expected


@pytest.fixture(scope="module")
def hurried(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
) -> Iterator[tuple[str, int, Path]]:
    """A worker that waits for readers a few seconds only; its log and tables are in that folder."""
    folder = tmp_path_factory.mktemp("hurried")
    settings = {
        "WEIGHWORTHY_WORKERS": "1",
        "WEIGHWORTHY_DOWNLOAD_SECONDS": str(2 * SECONDS),
        "WEIGHWORTHY_ANSWER_SECONDS": str(SECONDS),
        "WEIGHWORTHY_SPOOL": str(folder),
    }
    with serve(folder, **settings) as (address, pid):
        yield address, pid, folder


@linux
def test_a_download_has_an_end(hurried: tuple[str, int, Path], session: requests.Session) -> None:
    """Who takes a little all the time is cut off: thread and place are free, the table is gone."""
    address, pid, folder = hurried
    with reader(address, BATCHES + BATCH) as raw, reader(address, BATCHES + BATCH) as other:
        until(lambda: heavy(address, session) == 2, 10)
        began = time.monotonic()
        assert len(spooled(pid, folder)) == 2
        while heavy(address, session):
            assert time.monotonic() < began + 8 * SECONDS
            assert raw.recv(8000)
            assert other.recv(8000)
            time.sleep(0.05)
        assert time.monotonic() - began > 2 * SECONDS - 1
        assert spooled(pid, folder) == []
        # Nobody can take what came for a whole answer.
        assert not b"".join(iter(lambda: _rest(raw), b"")).endswith(b"\r\n0\r\n\r\n")
    log = (folder / "log").read_text()
    assert log.count(f"it was not taken within {2 * SECONDS} s") == 2


def _rest(raw: socket.socket) -> bytes:
    try:
        return raw.recv(65_536)
    except ConnectionError:
        return b""


@linux
def test_who_takes_nothing_is_cut_off(
    hurried: tuple[str, int, Path], session: requests.Session
) -> None:
    address, pid, folder = hurried
    log = folder / "log"
    with reader(address, DOCUMENT * OFTEN), reader(address, BATCHES + BATCH):
        until(lambda: heavy(address, session) == 1, 10)
        until(lambda: heavy(address, session) == 0, 8 * SECONDS)
        until(lambda: f"broke off: nothing was taken for {SECONDS} s" in log.read_text(), 10)
        until(lambda: f"end: it was not taken within {SECONDS} s" in log.read_text(), 10)
        assert spooled(pid, folder) == []


@linux
def test_at_the_end_what_was_answered_is_sent_whole_and_nobody_else_is_waited_for(
    tmp_path: Path, serve: Callable[..., AbstractContextManager[tuple[str, int]]]
) -> None:
    """Who says nothing is not waited for as long as requests may take to come and to end, and kept
    connections may stay (75 s): `serve` fails where the end takes longer than 40 s."""
    settings = {
        "WEIGHWORTHY_WORKERS": "1",
        "WEIGHWORTHY_STOP_SECONDS": "600",
        "WEIGHWORTHY_REQUEST_SECONDS": "600",
    }
    with ExitStack() as stack, serve(tmp_path, **settings) as (address, pid):
        for _ in range(3):
            stack.enter_context(connected(address, b""))
        raw = stack.enter_context(reader(address, DOCUMENT * OFTEN))
        until(lambda: max(backlog(address)) > FULL, 10)
        os.kill(pid, signal.SIGTERM)
        # Nobody is taken any more: it is ending, and waits for this one.
        until(lambda: not _listens(address), 10)
        answers = raw.makefile("rb")
        whole = 0
        while answers.readline():
            length = 0
            while (line := answers.readline()) != b"\r\n":
                length = int(line[15:]) if line.startswith(b"Content-Length:") else length
            assert len(answers.read(length)) == length
            whole += 1
        assert 1 < whole < OFTEN


def _listens(address: str) -> bool:
    parts = urlsplit(address)
    with socket.socket() as raw:
        return raw.connect_ex((parts.hostname, parts.port)) == 0
