"""`weighworthy serve` as an operator runs it: keys that change, and an end that loses nothing."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import requests

from weighworthy.cli import main
from weighworthy_service.checks.registry import BY_SLUG

CHECK = "/v1/checks/simulated-loss"
REQUEST = BY_SLUG["simulated-loss"].example["request"]
ROWS = 2000
# One line a check, told apart by its label.
LINES = b"".join(
    json.dumps({**REQUEST, "check": "simulated-loss", "labels": {"row": str(row)}}).encode() + b"\n"
    for row in range(1, ROWS + 1)
)

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="finds workers through /proc"
)


@dataclass
class Served:
    """A running command, its address, the file of its keys, and all that it writes."""

    process: subprocess.Popen[bytes]
    port: int
    keys: Path
    log: Path

    def ask(self, method: str, path: str, key: str | None = None, **options: object) -> int:
        """The status that a request gets."""
        headers = {} if key is None else {"Authorization": f"Bearer {key}"}
        with requests.Session() as session:
            session.trust_env = False
            url = f"http://127.0.0.1:{self.port}{path}"
            return session.request(method, url, headers=headers, timeout=30, **options).status_code

    def workers(self) -> set[int]:
        pid = self.process.pid
        return set(map(int, Path(f"/proc/{pid}/task/{pid}/children").read_text().split()))

    def connect(self) -> http.client.HTTPConnection:
        """A connection that takes little at once, so that a large answer cannot run ahead."""
        opened = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        opened.sock = socket.socket()
        opened.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 32 * 1024)
        opened.sock.settimeout(60)
        opened.sock.connect(("127.0.0.1", self.port))
        return opened


def wait_for(condition: Callable[[], object], seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.02)


@pytest.fixture
def new_key(capfd: pytest.CaptureFixture[str]) -> Callable[..., tuple[str, str]]:
    """Makes a key: it, and its line."""

    def make(*options: str) -> tuple[str, str]:
        capfd.readouterr()
        assert main(["new-key", *options]) == 0
        line, key = capfd.readouterr()
        return key.strip(), line

    return make


@pytest.fixture
def served(tmp_path: Path, new_key: Callable[..., tuple[str, str]]) -> Iterator[tuple[Served, str]]:
    """The command with one key for everything, and that key."""
    key, line = new_key("--scope", "evaluate", "--scope", "read", "--scope", "metrics")
    keys, log = tmp_path / "keys", tmp_path / "log"
    keys.write_text(line)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("WEIGHWORTHY_")}
    options = ["--bind", f"127.0.0.1:{port}", "--keys-file", str(keys), "--workers", "2"]
    with log.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "weighworthy.cli", "serve", *options],
            cwd=tmp_path,
            env=environment,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    one = Served(process, port, keys, log)
    try:
        wait_for(lambda: process.poll() is not None or _answers(one))
        assert process.poll() is None, log.read_text()
        yield one, key
    finally:
        process.terminate()
        assert process.wait(timeout=60) == 0, log.read_text()


def _answers(one: Served) -> bool:
    try:
        return one.ask("GET", "/readyz") == 200
    except requests.ConnectionError:
        return False


def test_keys_are_changed_without_a_gap_and_never_written(
    served: tuple[Served, str], new_key: Callable[..., tuple[str, str]]
) -> None:
    one, old = served
    reader, reader_line = new_key("--scope", "read", "--name", "scale room")
    new, new_line = new_key()
    assert [one.ask("GET", "/v1/info", key) for key in (old, new, reader)] == [200, 403, 403]
    before = one.workers()
    with one.keys.open("a") as file:
        file.write(reader_line + new_line)
    os.kill(one.process.pid, signal.SIGHUP)
    wait_for(lambda: len(one.workers()) == 2 and not one.workers() & before)
    assert [one.ask("GET", "/v1/info", key) for key in (old, new, reader)] == [200, 200, 200]
    assert [one.ask("POST", CHECK, key, json=REQUEST) for key in (old, new, reader)] == [
        *(200, 200, 403)
    ]
    assert [one.ask("GET", "/metrics", key) for key in (old, new, reader, None)] == [
        *(200, 403, 403, 401)
    ]
    # The old one is taken away; what is then broken changes nothing.
    before = one.workers()
    one.keys.write_text(reader_line + new_line)
    os.kill(one.process.pid, signal.SIGHUP)
    wait_for(lambda: len(one.workers()) == 2 and not one.workers() & before)
    one.keys.write_text(f"{new}\n")
    os.kill(one.process.pid, signal.SIGHUP)
    wait_for(lambda: "not reloaded" in one.log.read_text())
    assert [one.ask("GET", "/v1/info", key) for key in (old, new)] == [403, 200]
    # Keys where they do not belong.
    one.ask("GET", f"/v1/{new}?key={new}")
    one.ask("GET", "/v1/info", f"{new} {new}")
    one.ask("POST", CHECK, new, data=new, params={"detail": new})
    for head in (
        f"GET /v1/info HTTP/1.1\r\nHost: x\r\nAuthorization Bearer {new}\r\n\r\n",
        f"{new}\r\n\r\n",
        f"GET / HTTP/1.1\r\nHost: {new}\r\nAuthorization : {new}\r\n\r\n",
    ):
        with socket.create_connection(("127.0.0.1", one.port), timeout=10) as raw:
            raw.sendall(head.encode())
            assert raw.recv(1000).startswith(b"HTTP/1.1 400")
    wait_for(lambda: one.log.read_text().count("Invalid request") == 3)
    written = one.log.read_text()
    assert "key-not-allowed" in written
    for key in (old, new, reader):
        assert key not in written
        assert key.removeprefix("weighworthy-key-")[:12] not in written


def test_what_is_under_way_at_the_end_is_answered(served: tuple[Served, str]) -> None:
    """SIGTERM meets a table on its way out, one on its way in, and half a check."""
    one, key = served
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/x-ndjson"}
    url = f"http://127.0.0.1:{one.port}/v1/batches"
    with requests.Session() as session:
        session.trust_env = False
        alone = session.post(url, data=LINES, headers=headers, timeout=60)
    going, coming, half = one.connect(), one.connect(), one.connect()
    going.request("POST", "/v1/batches", LINES, headers)
    answer = going.getresponse()
    begun = answer.read(1000)
    coming.putrequest("POST", "/v1/batches")
    check = json.dumps(REQUEST).encode()
    half.putrequest("POST", CHECK)
    for name, value in headers.items():
        coming.putheader(name, value)
        half.putheader(name, value.replace("x-ndjson", "json"))
    coming.putheader("Content-Length", str(len(LINES)))
    half.putheader("Content-Length", str(len(check)))
    coming.endheaders(LINES[:200_000])
    half.endheaders(check[:100])
    time.sleep(1)  # until both have been accepted
    one.process.terminate()
    wait_for(lambda: _refused(one.port), 10)
    half.send(check[100:])
    assert half.getresponse().status == 200
    coming.send(LINES[200_000:])
    assert coming.getresponse().read() == alone.content
    time.sleep(1)
    assert one.process.poll() is None
    assert begun + answer.read() == alone.content
    *lines, end = map(json.loads, alone.content.splitlines())
    assert [line["answer"]["labels"]["row"] for line in lines] == [
        str(row) for row in range(1, ROWS + 1)
    ]
    assert (end["summary"]["complete"], end["summary"]["rows_judged"]) == (True, ROWS)
    for connection in (going, coming, half):
        connection.close()
    assert one.process.wait(timeout=20) == 0


def _refused(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=3).close()
    except ConnectionRefusedError:
        return True
    return False
