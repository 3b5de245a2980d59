"""The set of profiles of a running server: replaced in one step, or not at all.

On the server that production runs: the folder is changed and broken under load, the first process
is told to reload, and workers are killed before, during and after.
"""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import requests

from weighworthy_service.checks.registry import KINDS

ROOT = Path(__file__).parents[2]
SPAN = next(kind for kind in KINDS if kind.slug == "span").example["request"]
PROFILE = """id = "kestrel"
revision = "{revision}"
[[rules]]
checks = ["span"]
limits.span_error = {{ within = "{revision} mg" }}
"""

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="finds workers through /proc"
)


@dataclass
class Server:
    """A server of two workers with a folder of one profile."""

    address: str
    process: subprocess.Popen[bytes]
    folder: Path
    log: Path
    watched: Path

    def workers(self) -> set[int]:
        pid = self.process.pid
        return set(map(int, Path(f"/proc/{pid}/task/{pid}/children").read_text().split()))

    def write(self, text: str) -> None:
        """Put a whole file in place of the old one."""
        (self.folder / "new").write_text(text)
        (self.folder / "new").replace(self.folder / "kestrel.toml")

    def reload(self) -> None:
        self.process.send_signal(signal.SIGHUP)

    def replaced(self, before: set[int]) -> None:
        """Wait until two workers are there, and none of those before."""
        wait_for(lambda: len(self.workers()) == 2 and not self.workers() & before)

    def kill_one(self) -> None:
        """End a worker as a lack of memory would, and wait for the one in its place."""
        before = self.workers()
        os.kill(min(before), signal.SIGKILL)
        wait_for(lambda: len(self.workers() - before) >= 1)

    def ready(self) -> dict:
        return requests.get(f"{self.address}/readyz", timeout=30, proxies={"http": ""}).json()


@dataclass
class Load:
    """Threads that ask all the time, some on one connection each, some on a new one each time."""

    address: str
    answers: list[tuple[float, float, str]] = field(default_factory=list)
    failures: list[tuple[float, str]] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)

    def run(self, kept: bool) -> None:
        with requests.Session() as session:
            session.trust_env = False
            while not self.stop.is_set():
                began = time.monotonic()
                try:
                    reply = session.post(
                        f"{self.address}/v1/checks/span",
                        json={**SPAN, "profile": "kestrel"},
                        headers={} if kept else {"Connection": "close"},
                        timeout=30,
                    )
                except requests.RequestException as error:
                    self.failures.append((began, str(error)))
                    continue
                assert reply.status_code == 200, reply.text
                found = reply.json()
                limit = f"{round(found['criteria'][0]['upper_limit'] * 1000)}"
                # One answer never mixes two sets.
                assert found["profile"]["revision"] == limit
                self.answers.append((began, time.monotonic(), limit))

    def since(self, moment: float) -> set[str]:
        """The revisions of answers to requests that began after a moment."""
        return {revision for began, _, revision in list(self.answers) if began >= moment}


def wait_for(condition: Callable[[], bool], seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.02)


# What the collector of a worker would go through again and again, told as the worker begins.
WATCHED = """
import gc, os

def tell():
    with open(os.environ["WATCHED"], "a") as file:
        print(gc.get_freeze_count(), len(gc.get_objects()), file=file)

os.register_at_fork(after_in_child=tell)
"""


def start(
    folder: Path, log: Path, more: dict[str, str] | None = None
) -> tuple[str, subprocess.Popen[bytes]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {
        **os.environ,
        "WEIGHWORTHY_ANONYMOUS": "loopback",
        "WEIGHWORTHY_BIND": f"127.0.0.1:{port}",
        "WEIGHWORTHY_WORKERS": "2",
        "WEIGHWORTHY_PROFILES": str(folder),
        **(more or {}),
    }
    environment.pop("WEIGHWORTHY_KEYS_FILE", None)
    with log.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "gunicorn", "-c", "service/gunicorn.conf.py"],
            cwd=ROOT,
            env=environment,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    return f"http://127.0.0.1:{port}", process


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    folder, watching = tmp_path / "profiles", tmp_path / "watching"
    folder.mkdir()
    watching.mkdir()
    log = tmp_path / "log"
    (folder / "kestrel.toml").write_text(PROFILE.format(revision=1))
    (watching / "sitecustomize.py").write_text(WATCHED)
    more = {"PYTHONPATH": str(watching), "WATCHED": str(tmp_path / "watched")}
    address, process = start(folder, log, more)
    running = Server(address, process, folder, log, tmp_path / "watched")
    try:
        wait_for(lambda: process.poll() is not None or _answers(running))
        assert process.poll() is None, log.read_text()
        yield running
    finally:
        process.terminate()
        process.wait(timeout=40)


def _answers(server: Server) -> bool:
    try:
        return server.ready()["status"] == "ok" and len(server.workers()) == 2
    except requests.ConnectionError:
        return False


@pytest.fixture
def load(server: Server) -> Iterator[Load]:
    asking = Load(server.address)
    threads = [threading.Thread(target=asking.run, args=(kept,)) for kept in (True, True, False)]
    broken: list[BaseException] = []
    hook, threading.excepthook = threading.excepthook, lambda args: broken.append(args.exc_value)
    for thread in threads:
        thread.start()
    try:
        yield asking
    finally:
        asking.stop.set()
        for thread in threads:
            thread.join(timeout=60)
        threading.excepthook = hook
    assert broken == []


def settled(load: Load, moment: float) -> None:
    """Wait for answers to requests that began after a moment."""
    wait_for(lambda: sum(began >= moment for began, _, _ in list(load.answers)) >= 20)


def switched(load: Load, revision: str, moment: float) -> None:
    """After the first answer of a new set no request that begins gets one of the old."""
    wait_for(lambda: revision in load.since(moment))
    first = min(ended for _, ended, found in list(load.answers) if found == revision)
    settled(load, first)
    assert load.since(first) == {revision}


def test_one_set_at_a_time_under_load(server: Server, load: Load) -> None:
    settled(load, 0)
    # The folder changes, but nobody said so: a worker in another's place serves the old set too.
    server.write(PROFILE.format(revision=2))
    begin = time.monotonic()
    server.kill_one()
    settled(load, begin)
    assert load.since(0) == {"1"}

    # A reload, then a worker killed.
    killed = len(load.failures)
    before = server.workers()
    begin = time.monotonic()
    server.reload()
    switched(load, "2", begin)
    server.replaced(before)
    # Nothing but the killed worker broke a connection.
    assert load.failures[killed:] == []
    begin = time.monotonic()
    server.kill_one()
    settled(load, begin)
    assert load.since(begin) == {"2"}

    # A broken folder: nothing changes but what readiness says.
    server.write("id =")
    killed = len(load.failures)
    before = server.workers()
    begin = time.monotonic()
    server.reload()
    server.replaced(before)
    assert server.ready()["not_reloaded"][0].startswith("kestrel.toml:1: ")
    assert server.ready()["status"] == "ok"
    settled(load, begin)
    assert load.failures[killed:] == []
    begin = time.monotonic()
    server.kill_one()
    settled(load, begin)
    assert load.since(begin) == {"2"}

    # Repaired.
    server.write(PROFILE.format(revision=3))
    killed = len(load.failures)
    begin = time.monotonic()
    server.reload()
    switched(load, "3", begin)
    assert load.failures[killed:] == []
    wait_for(lambda: server.ready()["not_reloaded"] == [])


def test_a_worker_killed_while_the_set_is_replaced(server: Server, load: Load) -> None:
    """Before, in, and after the seconds in which the old workers end."""
    for revision, pause in ((2, 0.0), (3, 0.05), (4, 0.5), (5, 2.5)):
        wait_for(lambda: len(server.workers()) == 2)
        server.write(PROFILE.format(revision=revision))
        begin = time.monotonic()
        server.reload()
        time.sleep(pause)
        for pid in sorted(server.workers())[:1]:
            os.kill(pid, signal.SIGKILL)
        switched(load, str(revision), begin)
    assert server.process.poll() is None


def test_no_worker_collects_what_all_of_them_began_with(server: Server) -> None:
    """A full collection of all modules holds every request up for 0.1 s and more."""

    def told(workers: int) -> list[list[int]]:
        wait_for(lambda: server.watched.read_text().count("\n") == workers)
        return [[int(n) for n in line.split()] for line in server.watched.read_text().splitlines()]

    for reloads in range(1, 5):
        told(2 * reloads)
        before = server.workers()
        server.reload()
        server.replaced(before)
    told(10)
    server.kill_one()
    for kept, collected in told(11):
        assert kept > 50_000
        assert collected < kept / 20
    # What a reload puts away is gone from the first process, but for the first of all.
    after = [kept for kept, _ in told(11)[2:]]
    assert max(after) - min(after) < 500


def test_a_worker_that_has_just_been_forked_stops_too(tmp_path: Path) -> None:
    """Until it has handlers of its own, it has those of the first process, which would keep the
    signal to themselves; the server then waited for it as long as for a long request."""
    folder, slow = tmp_path / "profiles", tmp_path / "slow"
    folder.mkdir()
    slow.mkdir()
    (folder / "kestrel.toml").write_text(PROFILE.format(revision=1))
    late = "import os, time\nos.register_at_fork(after_in_child=lambda: time.sleep(1))\n"
    (slow / "sitecustomize.py").write_text(late)
    log = tmp_path / "log"
    more = {"PYTHONPATH": str(slow), "WEIGHWORTHY_STOP_SECONDS": "30"}
    address, process = start(folder, log, more)
    server = Server(address, process, folder, log, tmp_path / "watched")
    try:
        wait_for(lambda: process.poll() is not None or _answers(server))
        before = server.workers()
        os.kill(min(before), signal.SIGKILL)
        wait_for(lambda: len(server.workers() - before) == 1)
        begin = time.monotonic()
        process.terminate()
        assert process.wait(timeout=25) == 0
        assert time.monotonic() - begin < 15
    finally:
        process.kill()
        process.wait(timeout=40)


def test_a_broken_folder_does_not_start(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('id = "a"\nrevison = "1"\n')
    (tmp_path / "b.toml").write_text("id =")
    log = tmp_path / "log"
    address, process = start(tmp_path, log)
    assert process.wait(timeout=60) != 0
    said = log.read_text()
    assert "weighworthy does not start" in said
    assert 'a.toml:2: /revison there is no such field; did you mean "revision"?' in said
    assert "b.toml:1: " in said
    assert "Traceback" not in said
    with pytest.raises(requests.ConnectionError):
        requests.get(f"{address}/livez", timeout=5, proxies={"http": ""})


@pytest.mark.parametrize("there", [True, False])
def test_an_empty_or_missing_folder_does_not_start(tmp_path: Path, there: bool) -> None:
    """Without what was meant, other limits would judge, and it would look like success."""
    folder = tmp_path / "profiles"
    if there:
        folder.mkdir()
    log = tmp_path / "log"
    _, process = start(folder, log)
    assert process.wait(timeout=60) != 0
    said = log.read_text()
    assert "weighworthy does not start" in said
    assert str(folder) in said
    assert "WEIGHWORTHY_PROFILES" in said
    assert "Traceback" not in said
