"""Batches on the server that production runs: framing, deadlines, clients that go away, files."""

import gzip
import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import requests

from weighworthy_service.checks.registry import KINDS

BATCHES = "/v1/batches"
NDJSON = "application/x-ndjson"
LINES = {"Content-Type": NDJSON}
LIMIT = 16_000_000
DEADLINE = 3
ROWS = 20_000
needs_proc = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="reads /proc")


@dataclass(frozen=True)
class Server:
    """One worker; `spool` is the folder in which bodies wait."""

    address: str
    worker: int
    spool: Path

    def open_files(self) -> list[str]:
        """The files in the spool that the worker has open, also those without a name."""
        links = []
        for fd in Path(f"/proc/{self.worker}/fd").iterdir():
            try:
                links.append(os.readlink(fd))
            except FileNotFoundError:
                continue
        return [link for link in links if str(self.spool) in link]

    def busy(self) -> float:
        """CPU seconds that the worker takes in one second."""
        before = self._cpu()
        time.sleep(1)
        return self._cpu() - before

    def _cpu(self) -> float:
        fields = Path(f"/proc/{self.worker}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def peak(self) -> int:
        """The largest memory so far, in KiB."""
        status = Path(f"/proc/{self.worker}/status").read_text()
        return int(status.partition("VmHWM:")[2].split()[0])


@pytest.fixture(scope="module")
def server(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
) -> Iterator[Server]:
    spool = tmp_path_factory.mktemp("spool")
    settings = {
        "WEIGHWORTHY_WORKERS": "1",
        "WEIGHWORTHY_SPOOL": str(spool),
        "WEIGHWORTHY_BATCH_BYTES": str(LIMIT),
        "WEIGHWORTHY_UPLOAD_SECONDS": str(DEADLINE),
    }
    with serve(tmp_path_factory.mktemp("server"), **settings) as (address, pid):
        children = Path(f"/proc/{pid}/task/{pid}/children")
        worker = int(children.read_text().split()[0]) if children.exists() else pid
        yield Server(address, worker, spool)


@pytest.fixture(autouse=True)
def nothing_stays(server: Server) -> Iterator[None]:
    """After whatever happened, the spool is empty, and nothing in it is kept open."""
    yield
    deadline = time.monotonic() + 10
    while server.open_files() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert server.open_files() == []
    assert list(server.spool.iterdir()) == []


@pytest.fixture
def session() -> Iterator[requests.Session]:
    with requests.Session() as opened:
        opened.trust_env = False
        yield opened


def lines(rows: int, bad: frozenset[int] = frozenset()) -> bytes:
    """Defaults, and rows that state their readings; row numbers begin with 2."""
    defaults = {"check": "simulated-loss", **deepcopy(KINDS[2].example["request"])}
    written = [json.dumps({"defaults": defaults})]
    for number in range(2, rows + 2):
        # From 9.990 g to 10.009 g: losses of about 16.75 % to 16.59 %.
        final = (
            f"{9990 + number % 20}e-3 g" if number in bad else f"{9.990 + number % 20 / 1000:.3f} g"
        )
        written.append(json.dumps({"final": {"indication": final}, "labels": {"n": str(number)}}))
    return "\n".join(written).encode() + b"\n"


def summary_of(body: bytes) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(body.splitlines()[-1])["summary"]
    return found


@needs_proc
def test_twenty_thousand_rows_through_requests(server: Server, session: requests.Session) -> None:
    """All accounted for and in order, with memory that a tenth of them has taken already."""
    session.post(server.address + BATCHES, data=lines(ROWS // 10), headers=LINES, timeout=120)
    before = server.peak()
    bad = frozenset({3, 9_999, ROWS + 1})
    response = session.post(
        server.address + BATCHES + "?detail=short",
        data=lines(ROWS, bad),
        headers=LINES,
        timeout=300,
    )
    assert response.status_code == 200
    assert response.headers["Content-Type"] == NDJSON
    told = [json.loads(line) for line in response.content.splitlines()]
    summary = told.pop()["summary"]
    assert [one["rows"] for one in told] == [[number] for number in range(2, ROWS + 2)]
    assert {one["rows"][0] for one in told if "problem" in one} == bad
    assert all(
        one["answer"]["labels"]["n"] == str(one["rows"][0]) for one in told if "answer" in one
    )
    assert summary["complete"] is True
    assert (summary["rows_in"], summary["rows_judged"]) == (ROWS, ROWS - 3)
    assert (summary["rows_in_error"], summary["rows_skipped"]) == (3, 0)
    assert sum(summary["verdicts"].values()) == summary["checks"] == ROWS - 3
    # The answer has tens of megabytes; a worker that held it would show them.
    assert len(response.content) > 20_000_000
    assert server.peak() - before < 8_000


@pytest.mark.needs_curl
@pytest.mark.skipif(shutil.which("curl") is None, reason="needs curl")
@pytest.mark.parametrize("framing", ["Expect: 100-continue", "Transfer-Encoding: chunked"])
def test_twenty_thousand_rows_through_curl(server: Server, tmp_path: Path, framing: str) -> None:
    asked, answered = tmp_path / "asked.ndjson", tmp_path / "answered.ndjson"
    asked.write_bytes(lines(ROWS))
    command = ["curl", "-sS", "--noproxy", "*", f"{server.address}{BATCHES}?detail=short"]
    command += ["-H", f"Content-Type: {NDJSON}", "-H", framing]
    command += ["--data-binary", f"@{asked}", "-o", str(answered), "-w", "%{http_code}"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=True)
    assert done.stdout == "200"
    summary = summary_of(answered.read_bytes())
    assert summary["complete"] is True
    assert summary["rows_judged"] == ROWS


MAPPING = b"""
check = "simulated-loss"
time_zone = "Europe/Berlin"
[columns]
instrument = "Balance"
performed_at = { column = "When", format = "%d.%m.%Y %H:%M" }
"initial.indication" = "Start [g]"
"final.indication" = "End [g]"
displayed_loss = "Loss [%]"
"labels.sample" = "Sample"
[constants]
weights.A10 = { nominal = "10 g", weight_class = "OIML F1" }
weights.A2 = { nominal = "2 g", weight_class = "OIML F1" }
initial.load = ["A10", "A2"]
final.load = ["A10"]
[instruments.MA-07]
scale_interval = "1 mg"
loss_interval = "0.01 %"
"""
BAD = (3, 10_000, 20_000)


def table(rows: int) -> bytes:
    """Semicolons and decimal commas, a title and a blank row; some readings are no numbers."""
    written = ["Kestrel Mill Foods (invented), archive", ""]
    written.append("Balance;When;Start [g];End [g];Loss [%];Sample")
    for number in range(1, rows + 1):
        end = "OL" if number in BAD else f"{9.99 + number % 20 / 1000:.3f}".replace(".", ",")
        when = f"{1 + number % 28:02}.03.2026 08:{number % 60:02}"
        written.append(f"MA-07;{when};12,000;{end};16,{60 + number % 20};V-{number}")
    return ("\r\n".join(written) + "\r\n").encode("cp1252")


@needs_proc
def test_twenty_thousand_rows_of_a_table_through_requests(
    server: Server, session: requests.Session
) -> None:
    """The table comes back row by row; ten times as many rows take no more memory."""
    mapping = ("m.toml", MAPPING)

    def judged(rows: int) -> list[bytes]:
        response = session.post(
            server.address + BATCHES,
            files={"table": ("t.csv", table(rows)), "mapping": mapping},
            headers={"Accept": "text/csv"},
            timeout=120,
        )
        assert response.status_code == 200, response.text[:500]
        assert response.headers["Weighworthy-Rows-In"] == str(rows + 2)
        return response.content.splitlines()

    came, written = table(ROWS).splitlines(), judged(ROWS)
    before = server.peak()
    assert len(written) == len(came)
    assert all(line.startswith(row) for line, row in zip(written, came, strict=True))
    outcomes = [line[len(row) :].split(b";")[1] for line, row in zip(written, came, strict=True)]
    assert outcomes[2] == b"ww_outcome"
    assert [place - 2 for place, one in enumerate(outcomes) if one == b"error"] == list(BAD)
    assert outcomes.count(b"judged") == ROWS - len(BAD)
    assert len(judged(10 * ROWS)) == 10 * ROWS + 3
    assert server.peak() - before < 8_000


@pytest.mark.needs_curl
@pytest.mark.skipif(shutil.which("curl") is None, reason="needs curl")
@pytest.mark.parametrize("accept", ["text/csv", NDJSON])
def test_twenty_thousand_rows_of_a_table_through_curl(
    server: Server, tmp_path: Path, accept: str
) -> None:
    (tmp_path / "t.csv").write_bytes(table(ROWS))
    (tmp_path / "m.toml").write_bytes(MAPPING)
    command = ["curl", "-sS", "--noproxy", "*", f"{server.address}{BATCHES}?detail=short"]
    command += ["-F", "table=@t.csv", "-F", "mapping=@m.toml", "-H", f"Accept: {accept}"]
    if accept == "text/csv":
        command[4] = command[4].partition("?")[0]
    command += ["-o", "answer", "-w", "%{http_code}"]
    done = subprocess.run(
        command, cwd=tmp_path, capture_output=True, text=True, timeout=300, check=True
    )
    answer = (tmp_path / "answer").read_bytes()
    assert done.stdout == "200", answer[:500]
    if accept == "text/csv":
        assert answer.count(b"\r\n") == ROWS + 3
        assert answer.count(b";judged;") == ROWS - len(BAD)
    else:
        summary = summary_of(answer)
        assert summary["complete"] is True
        assert (summary["rows_in"], summary["rows_skipped"]) == (ROWS + 2, 2)
        assert (summary["rows_judged"], summary["rows_in_error"]) == (ROWS - 3, 3)
        assert summary["read_as"]["decimal"] == ","


def chunks(*, size: int) -> Iterator[bytes]:
    whole = lines(50)
    yield whole
    for _ in range((size - len(whole)) // 50_000):
        yield b" " * 49_999 + b"\n"
    yield b" " * ((size - len(whole)) % 50_000)


def test_a_chunked_body_at_the_limit_is_read_whole(
    server: Server, session: requests.Session
) -> None:
    response = session.post(
        server.address + BATCHES, data=chunks(size=LIMIT), headers=LINES, timeout=60
    )
    assert response.status_code == 200
    summary = summary_of(response.content)
    assert summary["rows_judged"] == 50
    # The last line is of blanks and lacks its end.
    assert summary["rows_skipped"] == (LIMIT - len(lines(50))) // 50_000 + 1


def test_a_chunked_body_beyond_the_limit_is_refused(
    server: Server, session: requests.Session
) -> None:
    response = session.post(
        server.address + BATCHES, data=chunks(size=LIMIT + 1), headers=LINES, timeout=60
    )
    assert response.status_code == 413
    assert response.json()["type"] == "/problems/too-large"


def test_gzip_is_unpacked_to_the_same_answer(server: Server, session: requests.Session) -> None:
    plain = lines(100)
    packed = gzip.compress(plain[:500]) + gzip.compress(plain[500:])
    url = server.address + BATCHES
    sent = session.post(url, data=packed, headers={**LINES, "Content-Encoding": "gzip"}, timeout=60)
    assert sent.content == session.post(url, data=plain, headers=LINES, timeout=60).content


@pytest.mark.parametrize(
    ("body", "slug"),
    [
        (gzip.compress(b"\n" * (LIMIT + 1)), "too-large"),
        (gzip.compress(lines(100))[:-9], "body-incomplete"),
        (b"not gzip", "body-incomplete"),
        (b"", "body-incomplete"),
    ],
)
def test_gzip_that_is_too_much_or_broken(
    server: Server, session: requests.Session, body: bytes, slug: str
) -> None:
    headers = {**LINES, "Content-Encoding": "gzip"}
    response = session.post(server.address + BATCHES, data=body, headers=headers, timeout=60)
    assert response.json()["type"] == f"/problems/{slug}"


def connected(server: Server, head: str) -> socket.socket:
    parts = urlsplit(server.address)
    raw = socket.create_connection((parts.hostname, parts.port), timeout=30)
    raw.sendall(
        f"POST {BATCHES} HTTP/1.1\r\nHost: {parts.netloc}\r\nContent-Type: {NDJSON}\r\n"
        f"{head}\r\n\r\n".encode()
    )
    return raw


@pytest.mark.parametrize(
    ("head", "begin"),
    [
        ("Content-Length: 1000000", b'{"check"'),
        ("Transfer-Encoding: chunked", b'100000\r\n{"check"'),
        ("Transfer-Encoding: chunked", b"8\r\n{}\n{}\n{}\r\n"),
    ],
)
def test_a_body_that_breaks_off_is_judged_in_no_part(
    server: Server, head: str, begin: bytes
) -> None:
    with connected(server, head) as raw:
        raw.sendall(begin)
        raw.shutdown(socket.SHUT_WR)
        assert raw.recv(12) == b"HTTP/1.1 400"


@pytest.mark.parametrize(
    "chunks",
    [b"ZZ\r\nabc\r\n0\r\n\r\n", b"-5\r\nabc\r\n0\r\n\r\n", b"2\r\n{}\n{}\r\n0\r\n\r\n"],
)
def test_chunks_that_are_none_are_the_sender_s_fault(server: Server, chunks: bytes) -> None:
    with connected(server, "Transfer-Encoding: chunked") as raw:
        raw.sendall(chunks)
        assert raw.recv(12) == b"HTTP/1.1 400"


def test_who_sends_a_byte_now_and_then_is_cut_off(server: Server) -> None:
    begin = time.monotonic()
    with connected(server, "Content-Length: 1000000") as raw:
        raw.settimeout(0.2)
        reply = b""
        while not reply and time.monotonic() < begin + 5 * DEADLINE:
            try:
                raw.sendall(b" ")
                reply = raw.recv(12)
            except TimeoutError:
                continue
        assert reply == b"HTTP/1.1 408"
    assert DEADLINE - 0.5 < time.monotonic() - begin < 2 * DEADLINE


@needs_proc
def test_a_client_that_goes_away_stops_the_work(server: Server) -> None:
    body = lines(ROWS)
    with connected(server, f"Content-Length: {len(body)}") as raw:
        raw.sendall(body)
        assert raw.recv(12) == b"HTTP/1.1 200"
        assert server.open_files() != []
    deadline = time.monotonic() + 2
    while server.open_files() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert server.open_files() == []
    # All rows would take seconds.
    assert server.busy() < 0.1


@needs_proc
def test_who_does_not_take_the_answer_is_cut_off(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
) -> None:
    spool = tmp_path_factory.mktemp("spool")
    settings = {"WEIGHWORTHY_WORKERS": "1", "WEIGHWORTHY_DOWNLOAD_SECONDS": str(DEADLINE)}
    settings |= {"WEIGHWORTHY_SPOOL": str(spool)}
    with serve(tmp_path_factory.mktemp("server"), **settings) as (address, pid):
        worker = int(Path(f"/proc/{pid}/task/{pid}/children").read_text().split()[0])
        slow = Server(address, worker, spool)
        body = lines(ROWS)
        with connected(slow, f"Content-Length: {len(body)}") as raw:
            raw.sendall(body)
            assert raw.recv(12) == b"HTTP/1.1 200"
            end = time.monotonic() + 3 * DEADLINE
            while slow.open_files() and time.monotonic() < end:
                time.sleep(0.1)
            assert slow.open_files() == []
            assert slow.busy() < 0.1
            rest = b""
            while piece := _taken(raw):
                rest += piece
            assert b'"summary"' not in rest
            assert not rest.endswith(b"0\r\n\r\n")


def test_who_takes_a_byte_a_second_is_cut_off_and_leaves_its_thread(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
    session: requests.Session,
) -> None:
    """There is no least rate: the deadline of the whole answer ends also those who never stop."""
    settings = {
        "WEIGHWORTHY_WORKERS": "1",
        "WEIGHWORTHY_THREADS": "2",
        "WEIGHWORTHY_HEAVY": "1",
        "WEIGHWORTHY_DOWNLOAD_SECONDS": str(DEADLINE),
    }
    body = lines(ROWS)
    with serve(tmp_path_factory.mktemp("server"), **settings) as (address, pid):

        def other() -> requests.Response:
            return session.post(address + BATCHES, data=lines(1), headers=LINES, timeout=10)

        slow = Server(address, pid, Path())
        begin = time.monotonic()
        with connected(slow, f"Content-Length: {len(body)}") as raw:
            raw.sendall(body)
            assert raw.recv(12) == b"HTTP/1.1 200"
            # It takes a byte a second for as long as it is looked at, and does not stop.
            while (status := other().status_code) != 200:
                assert status == 503
                assert time.monotonic() - begin < 4 * DEADLINE
                time.sleep(1)
                assert raw.recv(1)
            freed = time.monotonic() - begin
            assert DEADLINE - 0.5 < freed < 2.5 * DEADLINE
            rest = b""
            while piece := _taken(raw):
                rest += piece
            assert b'"summary"' not in rest
            assert not rest.endswith(b"0\r\n\r\n")


def _taken(raw: socket.socket) -> bytes:
    try:
        return raw.recv(65_536)
    except ConnectionResetError:
        return b""


@needs_proc
def test_a_killed_worker_leaves_no_file(
    tmp_path_factory: pytest.TempPathFactory,
    serve: Callable[..., AbstractContextManager[tuple[str, int]]],
) -> None:
    spool = tmp_path_factory.mktemp("spool")
    settings = {"WEIGHWORTHY_WORKERS": "1", "WEIGHWORTHY_SPOOL": str(spool)}
    with serve(tmp_path_factory.mktemp("server"), **settings) as (address, pid):
        worker = int(Path(f"/proc/{pid}/task/{pid}/children").read_text().split()[0])
        doomed = Server(address, worker, spool)
        with connected(doomed, "Content-Length: 1000000") as raw:
            raw.sendall(b"{}\n")
            end = time.monotonic() + 30
            while not doomed.open_files() and time.monotonic() < end:
                time.sleep(0.02)
            assert doomed.open_files() != []
            os.kill(worker, 9)
            end = time.monotonic() + 30
            while Path(f"/proc/{worker}").exists() and time.monotonic() < end:
                time.sleep(0.02)
        assert list(spool.iterdir()) == []
