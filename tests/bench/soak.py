"""Whether the memory of workers stays flat under full load, and whether all is answered.

`python tests/bench/soak.py [minutes] [-o report.md]` loads two workers with the production settings
for ten minutes if not told otherwise, from several connections at once: single checks of each kind,
requests that are refused, tables as CSV and as lines, reviews of profiles. It writes a report, and
ends with 1 where an answer was wrong or memory grew.

Workers are not replaced meanwhile (in production they are, after 50,000 requests), or a leak could
not be seen. The first two minutes, or half of a shorter run, are left out: a process that has just
begun fills its caches and gets its threads. Of the rest, memory (resident, of each worker, every
second) is averaged over twelve spans of time, so that neighbours hardly depend on each other, and
the slope is that of Theil and Sen, with its 95 % interval (`scipy.stats.theilslopes`). It is flat
where at the upper end of the interval a worker would grow by less than 5 % over the time that was
looked at.
"""

import argparse
import http.client
import json
import os
import random
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from behind_nginx import KEY, ROOT, Replica
from scipy.stats import theilslopes
from tables import MAPPING, write_table

from weighworthy_service.checks.registry import KINDS

CONNECTIONS = 6
SPANS = 12
WARM_UP = 120
GROWTH = 0.05
LIMIT_MIB = 150
BOUNDARY = "kestrel"


@dataclass(frozen=True)
class Ask:
    """A request, and the status of its answer."""

    name: str
    path: str
    body: bytes
    type: str
    status: int = 200
    often: int = 1
    varies: bool = False

    def sent(self, number: int) -> bytes:
        """The body; where it varies, with readings that hardly come again."""
        if not self.varies:
            return self.body
        low, high = number % 1009, number % 997
        body = self.body.replace(b'"12.001 g"', f'"12.{high:03} g"'.encode())
        return body.replace(b'"10.001 g"', f'"9.{low:03} g"'.encode())


@dataclass
class Done:
    """What came back, by name and status; wrong ones with what they said. `first` are the answers
    to which every later one to the same body is held."""

    counts: Counter[tuple[str, int]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    first: dict[bytes, bytes] = field(default_factory=dict)

    def judge(self, ask: Ask, status: int, said: bytes) -> None:
        """No room is an answer that a client obeys: it is counted, and is no fault."""
        if status == 503:
            return
        # A refusal names its request.
        refused = status >= 400
        if status != ask.status:
            self.wrong.append(f"{ask.name}: {status} {said[:200]!r}")
        elif not (refused or ask.varies) and said != self.first.setdefault(ask.body, said):
            self.wrong.append(f"{ask.name}: another answer than the first time")


def asks(folder: Path) -> list[Ask]:
    """The mixture. Tables have some 400 rows, hardly two alike in their readings."""
    single = [
        Ask(kind.slug, f"/v1/checks/{kind.slug}", json.dumps(kind.example["request"]).encode(),
            "application/json", often=8)
        for kind in KINDS
    ]  # fmt: skip
    loss = (ROOT / "examples/kestrel/simulated_loss.json").read_bytes()
    varied = Ask("readings that vary", "/v1/checks/simulated-loss", loss, "application/json",
                 often=16, varies=True)  # fmt: skip
    assert varied.sent(1) != loss
    lines = b"".join(
        json.dumps({"check": kind.slug, **kind.example["request"]}).encode() + b"\n"
        for kind in KINDS
        for _ in range(20)
    )
    within = {"limits": {"loss_error": {"within": "0.04 %"}}}
    profile = {"profile": {"id": "soak", "revision": "1", "rules": [within]}}
    multipart = f"multipart/form-data; boundary={BOUNDARY}"
    return [
        *single,
        varied,
        *(
            Ask("table", "/v1/batches", _multipart(folder, 400 + n), multipart)
            for n in range(8)
        ),
        Ask("lines", "/v1/batches", lines, "application/x-ndjson", often=4),
        Ask("review", "/v1/profiles/review", json.dumps(profile).encode(), "application/json",
            often=4),
        Ask("refused", f"/v1/checks/{KINDS[0].slug}", b'{"instrument":{}}', "application/json",
            422, often=8),
        Ask("not found", "/v1/checks/none", b"{}", "application/json", 404),
    ]  # fmt: skip


def _multipart(folder: Path, rows: int) -> bytes:
    table = folder / "table.csv"
    write_table(table, rows, all_different=True)
    parts = b""
    for name, text in (("mapping", MAPPING.encode()), ("table", table.read_bytes())):
        head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"; filename="x"\r\n'
        kind = "text/csv" if name == "table" else "application/octet-stream"
        parts += f"{head}Content-Type: {kind}\r\n\r\n".encode() + text + b"\r\n"
    return parts + f"--{BOUNDARY}--\r\n".encode()


def load(port: int, mixture: list[Ask], until: float, done: Done, first: int) -> None:
    """One connection after the other, each for 500 requests, until the time is over."""
    order = [ask for ask in mixture for _ in range(ask.often)]
    random.Random(first).shuffle(order)  # noqa: S311
    number = 1000 * first
    while time.monotonic() < until:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        for _ in range(500):
            if time.monotonic() >= until:
                break
            ask = order[number % len(order)]
            number += 1
            headers = {"Content-Type": ask.type, "Authorization": f"Bearer {KEY}"}
            try:
                connection.request("POST", ask.path, ask.sent(number), headers)
                response = connection.getresponse()
                said = response.read()
            except (OSError, http.client.HTTPException) as error:
                done.counts[ask.name, -1] += 1
                done.wrong.append(f"{ask.name}: {error!r}")
                break
            done.counts[ask.name, response.status] += 1
            done.judge(ask, response.status, said)
        connection.close()


def resident(pid: int) -> float:
    """MiB of memory that a process has."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def watch(replica: Replica, begin: float, until: float) -> dict[int, list[tuple[float, float]]]:
    """(s, MiB) of each worker, every second."""
    found: dict[int, list[tuple[float, float]]] = {pid: [] for pid in replica.workers()}
    while (now := time.monotonic()) < until:
        for pid, points in found.items():
            points.append((now - begin, resident(pid)))
        time.sleep(1)
    return found


def after_warm_up(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    begin = min(WARM_UP, points[-1][0] / 2)
    return [point for point in points if point[0] >= begin]


def slope(points: list[tuple[float, float]]) -> tuple[float, float, float, float]:
    """Of the part that is looked at: mean in MiB; slope, lower and upper end in MiB an hour."""
    kept = after_warm_up(points)
    width = len(kept) / SPANS
    spans = [kept[round(i * width) : round((i + 1) * width)] for i in range(SPANS)]
    times = [statistics.fmean(t for t, _ in span) / 3600 for span in spans]
    sizes = [statistics.fmean(size for _, size in span) for span in spans]
    middle, _, low, high = theilslopes(sizes, times, 0.95)
    return statistics.fmean(sizes), float(middle), float(low), float(high)


def report(
    seconds: float, watched: dict[int, list[tuple[float, float]]], done: Done, cpu: str
) -> tuple[str, bool]:
    """The text, and whether all is well."""
    total = sum(done.counts.values())
    flat = not done.wrong
    now = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    how = f"full load by {CONNECTIONS} connections, two workers; {cpu}"
    head = "worker | after the warm-up, MiB | at the end | most | slope, MiB an hour (95 %)"
    lines = [
        "# Soak\n",
        f"{now}, `python tests/bench/soak.py {seconds / 60:g}`: {how}.\n",
        f"{total:,} requests, {total / seconds:.0f} a second; wrong: {len(done.wrong)}.\n",
        f"| {head} | at most over the time looked at | flat |",
        "|---|---|---|---|---|---|---|",
    ]
    for number, points in enumerate(watched.values(), 1):
        mean, middle, low, high = slope(points)
        kept = after_warm_up(points)
        grown = max(0.0, high) * (kept[-1][0] - kept[0][0]) / 3600
        most = max(size for _, size in points)
        good = grown < GROWTH * mean and most < LIMIT_MIB
        flat = flat and good
        sizes = f"{kept[0][1]:.1f} | {points[-1][1]:.1f} | {most:.1f}"
        told = f"{middle:+.1f} ({low:+.1f} to {high:+.1f}) | {100 * grown / mean:.1f} %"
        lines.append(f"| {number} | {sizes} | {told} | {'yes' if good else 'NO'} |")
    lines += ["", "| asked | status | times |", "|---|---|---|"]
    lines += [f"| {name} | {s} | {n:,} |" for (name, s), n in sorted(done.counts.items())]
    lines += ["", *done.wrong[:10], ""]
    return "\n".join(lines).rstrip() + "\n", flat


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("minutes", type=float, nargs="?", default=10)
    parser.add_argument("-o", "--out", type=Path)
    asked = parser.parse_args()
    if asked.minutes < 0.5:
        parser.error("in less than half a minute nothing can be seen")
    seconds = 60 * asked.minutes
    done = Done()
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        mixture = asks(folder)
        replica = Replica(folder, {"WEIGHWORTHY_WORKERS": "2"}, ("--max-requests", "0"))
        replica.start()
        before = os.getloadavg()[0]
        try:
            time.sleep(2)
            first = set(replica.workers())
            begin = time.monotonic()
            until = begin + seconds
            threads = [
                threading.Thread(target=load, args=(replica.port, mixture, until, done, n))
                for n in range(CONNECTIONS)
            ]
            for thread in threads:
                thread.start()
            watched = watch(replica, begin, until)
            for thread in threads:
                thread.join()
            if set(replica.workers()) != first:
                done.wrong.append("a worker was replaced")
        finally:
            replica.stop()
    after = os.getloadavg()[0]
    cpu = f"{os.cpu_count()} cores, load {before:.1f} before and {after:.1f} at the end"
    text, well = report(seconds, watched, done, cpu)
    print(text)
    if asked.out:
        asked.out.write_text(text, "utf-8")
    return 0 if well else 1


if __name__ == "__main__":
    sys.exit(main())
