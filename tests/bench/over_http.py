"""What a check costs over HTTP, beside a route that does nothing, in one run.

`python tests/bench/over_http.py [seconds]` prints a table. It is no test: figures depend on the
machine. It needs wrk (Debian: `apt-get install wrk`).

Servers are started as `weighworthy serve` starts them: worker class, four threads, connections that
are kept. (a) is a bare Flask route that parses the body by `json.loads` and answers a constant of
the same size; (b) the check of a simulated loss with keys, counts and a log written to a file. Both
get the same bodies, of a laboratory with a dozen balances and one set of certified weights: each
has other readings, another time and another label, and readings are up to six steps of 1 mg off, so
that they repeat as those of real balances do. None is sent twice. (c) is (b) on balances with steps
of 0.1 mg that are up to sixty of them off: hardly two readings are alike. (d) is (b) with bodies of
which each states a weight that no other has, so that nothing is known from an earlier request. (e)
is (a) on gunicorn's own worker class of threads, which answers nothing in its loop. All are
measured in turns, and of each figure the median of all turns is told.

CPU time, of the worker alone, is the steadier figure where others use the machine.
"""

import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from behind_nginx import KEY, ROOT, Replica
from flask import Flask, Response, request
from open_loop import send

SCRIPT = Path(__file__).with_suffix(".lua")
PATH = "/v1/checks/simulated-loss"
BODIES = 60_000
TURNS = 5
# A turn of planned moments is so many times as long: of too few requests one burst is the 99th
# percentile.
PLANNED = 3
TICK = os.sysconf("SC_CLK_TCK")


def bare() -> Flask:
    """A route that parses the body and returns a constant."""
    app = Flask("bare")
    answer = Path(os.environ["BENCH_ANSWER"]).read_bytes()

    @app.post("/<path:_any>")
    def route(_any: str) -> Response:
        json.loads(request.get_data())
        return Response(answer, content_type="application/json")

    return app


def bodies(*, fine: bool = False, unlike: bool = False) -> list[bytes]:
    """Requests of an invented laboratory; `fine`: balances with steps of 0.1 mg; `unlike`: no two
    requests with the same weights."""
    digits = 4 if fine else 3
    most = 6 * 10 ** (digits - 3)
    chance = random.Random(1)  # noqa: S311
    sent = json.loads((ROOT / "examples/kestrel/simulated_loss.json").read_bytes())
    found = []
    for number in range(BODIES):
        one: dict[str, Any] = json.loads(json.dumps(sent))
        balance = number % 12
        one["instrument"]["id"] = f"MA-{balance:02}"
        one["instrument"]["repeatability"] = f"0.{4 + balance % 5} mg"
        if unlike:
            one["weights"]["A10"]["certificate"] = f"KMF 26/{number:05}"
        if fine:
            one["instrument"]["scale_interval"] = "0.1 mg"
        off, more = (chance.randint(-most, most) / 10**digits for _ in range(2))
        start, lost = 12 + off, 2 + more
        one["initial"]["indication"] = f"{start:.{digits}f} g"
        one["final"]["indication"] = f"{start - lost:.{digits}f} g"
        one["displayed_loss"] = f"{100 * lost / start:.2f} %"
        minute, hour = chance.randrange(60), 6 + chance.randrange(12)
        one["performed_at"] = f"2026-03-{1 + number % 28:02}T{hour:02}:{minute:02}:00+01:00"
        one["labels"] = {"sample": f"H-{number:05}"}
        found.append(json.dumps(one).encode())
    return found


@dataclass(frozen=True)
class Wrk:
    """One run of wrk: latencies in µs."""

    rate: float
    p50: float
    p99: float
    errors: int


@dataclass
class Target:
    """A server with the bodies that it gets; `begin`: the first that it has not had."""

    name: str
    replica: Replica
    file: Path
    begin: int = 0

    def load(self, connections: int, seconds: float) -> Wrk:
        command = ["wrk", "-t", "1", "-c", str(connections), "-d", f"{seconds:g}s"]
        command += ["-s", str(SCRIPT), self.replica.address + PATH, "--", str(self.file), KEY]
        command.append(str(self.begin % BODIES))
        said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        line = next(line for line in said.splitlines() if line.startswith("RESULT"))
        requests, took, lost, refused, p50, p99 = map(float, line.split()[1:])
        self.begin += int(requests)
        return Wrk(requests / took * 1e6, p50, p99, int(lost + refused))

    def requests(self) -> list[bytes]:
        """As wrk sends them."""
        lines = (f"POST {PATH} HTTP/1.1", "Host: 127.0.0.1", f"Authorization: Bearer {KEY}",
                 "Content-Type: application/json")  # fmt: skip
        head = "\r\n".join(lines)
        bodies = self.file.read_bytes().splitlines()
        begin = self.begin % BODIES
        return [
            f"{head}\r\nContent-Length: {len(body)}\r\n\r\n".encode() + body
            for body in bodies[begin:] + bodies[:begin]
        ]

    def cpu(self) -> float:
        """CPU time of its workers so far, in s."""
        each = [Path(f"/proc/{pid}/stat").read_text() for pid in self.replica.workers()]
        return sum(sum(map(int, text.rpartition(")")[2].split()[11:13])) for text in each) / TICK

    def memory(self) -> float:
        """The most that one of its workers has had in memory, in MiB."""
        texts = [Path(f"/proc/{pid}/status").read_text() for pid in self.replica.workers()]
        return max(int(t.partition("VmHWM:")[2].split()[0]) for t in texts) / 1024


@contextmanager
def targets(workers: int) -> Iterator[list[Target]]:
    """(a) to (d), each a server of its own with so many workers."""
    with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name)
        like, fine, unlike = folder / "like", folder / "fine", folder / "unlike"
        like.write_bytes(b"\n".join(bodies()) + b"\n")
        fine.write_bytes(b"\n".join(bodies(fine=True)) + b"\n")
        unlike.write_bytes(b"\n".join(bodies(unlike=True)) + b"\n")
        answer = folder / "answer"
        settings = {"WEIGHWORTHY_WORKERS": str(workers), "BENCH_ANSWER": str(answer)}
        bare_route = ("--pythonpath", "tests/bench", "over_http:bare()")
        made = []
        for title, file, more in (
            ("(b) check", like, ()),
            ("(c) check, readings unlike", fine, ()),
            ("(d) check, weights unknown", unlike, ()),
            ("(e) bare route, gthread", like, ("--worker-class", "gthread", *bare_route)),
            ("(a) bare route", like, bare_route),
        ):
            # A worker that gives way to another after many requests closes connections.
            replica = Replica(folder, settings, ("--max-requests", "0", *more))
            replica.start()
            stack.callback(replica.stop)
            made.append(Target(title, replica, file))
            if not answer.exists():
                answer.write_bytes(_answer(made[0]))
        yield [made[-1], *made[:-1]]


def _answer(target: Target) -> bytes:
    headers = {"Authorization": f"Bearer {KEY}", "Content-Type": "application/json"}
    body = target.file.read_bytes().splitlines()[0]
    asked = urllib.request.Request(target.replica.address + PATH, body, headers)  # noqa: S310
    with urllib.request.urlopen(asked) as answer:  # noqa: S310
        said: bytes = answer.read()
    print(f"{len(body)} bytes in, {len(said)} bytes out")
    return said


def latency(seconds: float) -> None:
    """One worker, one connection."""
    with targets(1) as each:
        print("-- one worker, one connection: p50, and CPU time of the worker for each request")
        times: dict[str, list[tuple[float, float]]] = {}
        for target in each:
            target.load(1, seconds)
        for _ in range(TURNS):
            for target in each:
                before = target.cpu()
                said = target.load(1, seconds)
                used = (target.cpu() - before) / (said.rate * seconds) * 1e6
                times.setdefault(target.name, []).append((said.p50, used))
        _table("µs", times)
        rates = {
            target.name: median(target.load(8, seconds / 2).rate for _ in range(TURNS))
            for target in each
        }
        print("-- one worker, half of the saturation rate, planned moments: p50 and p99 in µs")
        planned: dict[str, list[tuple[float, float, float]]] = {}
        for turn in range(TURNS):
            for target in each:
                found = _planned(target, rates[target.name] / 2, PLANNED * seconds, turn)
                planned.setdefault(target.name, []).append(found)
        for name, turns in planned.items():
            ratio, p50, p99 = map(median, zip(*turns, strict=True))
            ratios = ", ".join(f"{one[0]:.1f}" for one in turns)
            rate = rates[name] / 2
            print(f"{name:<28}{rate:8.0f}/s{p50:10.0f}{p99:10.0f}{ratio:8.1f} × ({ratios})")


def _planned(target: Target, rate: float, seconds: float, turn: int) -> tuple[float, float, float]:
    """p99 / p50, and both in µs."""
    sent = send(target.replica.port, target.requests(), rate, seconds, turn)
    assert not sent.errors, target.name
    target.begin += len(sent.latencies)
    p50, p99 = sent.quantile(0.5), sent.quantile(0.99)
    return p99 / p50, p50 * 1e6, p99 * 1e6


def throughput(seconds: float) -> None:
    """Two workers, eight connections and sixty-four."""
    with targets(2) as each:
        for connections in (8, 64):
            print(f"-- two workers, {connections} connections: requests a second, p99 in µs")
            times: dict[str, list[tuple[float, float]]] = {}
            errors: dict[str, int] = {}
            for target in each:
                target.load(connections, seconds)
            for _ in range(TURNS if connections == 8 else 1):
                for target in each:
                    said = target.load(connections, seconds)
                    times.setdefault(target.name, []).append((said.rate, said.p99))
                    errors[target.name] = errors.get(target.name, 0) + said.errors
            _table("1/s", times)
            print("errors:", ", ".join(f"{name} {count}" for name, count in errors.items()))
        for target in each:
            print(f"{target.name:<28}{target.memory():8.1f} MiB at most in one worker")


def _table(unit: str, times: dict[str, list[tuple[float, float]]]) -> None:
    reference: list[float] = []
    for name, found in times.items():
        medians = [median(one) for one in zip(*found, strict=True)]
        reference = reference or medians
        ratios = [m / r for m, r in zip(medians, reference, strict=True)]
        columns = "".join(f"{m:10.0f}{r:7.2f} ×" for m, r in zip(medians, ratios, strict=True))
        print(f"{name:<28}{unit:>4}{columns}")


def starts() -> None:
    """How long a server takes to be ready, and a script to have the client."""
    with tempfile.TemporaryDirectory() as folder:
        took = []
        for _ in range(TURNS):
            replica = Replica(Path(folder), {"WEIGHWORTHY_WORKERS": "1"})
            begin = time.perf_counter()
            replica.start()
            with urllib.request.urlopen(replica.address + "/readyz") as said:  # noqa: S310
                assert said.status == 200
            took.append(time.perf_counter() - begin)
            replica.stop()
    print(f"-- from the start of a server of one worker to /readyz: {median(took):.2f} s")
    imports = [_timed("pass"), _timed("import weighworthy")]
    print(f"-- import weighworthy: {(imports[1] - imports[0]) * 1e3:.0f} ms more than python alone")


def _timed(code: str) -> float:
    took = []
    for _ in range(2 * TURNS):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        took.append(time.perf_counter() - begin)
    return median(took)


def main() -> None:
    if shutil.which("wrk") is None:
        raise SystemExit(
            "wrk is missing, which asks as fast as it is answered: apt-get install wrk"
        )
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    print("load of the machine at the beginning:", *os.getloadavg()[:1])
    latency(seconds)
    throughput(seconds)
    starts()
    print("load at the end:", *os.getloadavg()[:1])


if __name__ == "__main__":
    main()
