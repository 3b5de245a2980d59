"""Whether a table is judged to the last row, once each and as ever, while the service is broken.

`python tests/bench/faults.py [rows] [-o report.md]` starts two replicas behind the nginx of
`service/deploy/nginx` and sends 20,000 rows as CSV by `Client.evaluate_table`, and a fifth of them
as requests by `Client.evaluate_many`, in turns, for at least a minute; within three all is over.
Meanwhile, at random moments: workers are killed (SIGKILL), connections are cut in the middle of a
body (the client goes through a relay that does so, in both directions), one replica is stopped and
started, the proxy is reloaded. It writes a report and ends with 1 where anything is missing,
doubled or other than undisturbed.

What comes back is held to what was sent by `fault_check.py`, which shares no code with the client,
and byte for byte to a run that nothing disturbed.
"""

import argparse
import csv
import hashlib
import os
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from behind_nginx import KEY, Replica, nginx
from fault_check import END, check_many, check_table, start
from trouble import Relay, Trouble

from weighworthy import Answer, Client

ROWS = 20_000
AT_LEAST, AT_MOST = 60, 120
# In turns; a table is judged much faster.
TURNS = ("table", "table", "table", "requests")
# What the client is told: more attempts than usual, because faults come every second here.
RETRIES = 12
WEIGHTS = {
    "A10": {"nominal": "10 g", "weight_class": "OIML F1", "due_on": "2030-01-01"},
    "A2": {"nominal": "2 g", "weight_class": "OIML F1", "due_on": "2030-01-01"},
}
MAPPING = """
id = "faults"
check = "simulated-loss"
time_zone = "UTC"
table.decimal = "."
[columns]
performed_at = { column = "When", format = "%d.%m.%Y %H:%M" }
"initial.indication" = "Start [g]"
"final.indication" = "End [g]"
"labels.number" = "Number"
[constants]
instrument.id = "MA-07"
instrument.scale_interval = "1 mg"
instrument.repeatability = "0.6 mg"
initial.load = ["A10", "A2"]
final.load = ["A10"]
[constants.weights.A10]
nominal = "10 g"
weight_class = "OIML F1"
due_on = "2030-01-01"
[constants.weights.A2]
nominal = "2 g"
weight_class = "OIML F1"
due_on = "2030-01-01"
"""


def write_table(path: Path, rows: int) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=";")
        writer.writerow(["Number", "When", "Start [g]", "End [g]", "Remark"])
        for number in range(1, rows + 1):
            # Wide rows, so that the client sends the file in several pieces.
            cells = [number, "16.03.2026 08:05", start(number), END, "no remark " * 50]
            writer.writerow(cells)


def requests_of(rows: int) -> Iterator[dict[str, Any]]:
    for number in range(1, rows + 1):
        yield {
            "check": "simulated-loss",
            "instrument": {"id": "MA-07", "scale_interval": "1 mg", "repeatability": "0.6 mg"},
            "weights": WEIGHTS,
            "performed_at": "2026-03-16T08:05:00Z",
            "initial": {"load": ["A10", "A2"], "indication": f"{start(number)} g"},
            "final": {"load": ["A10"], "indication": f"{END} g"},
            "labels": {"number": str(number)},
        }


@contextmanager
def running(folder: Path) -> Iterator[tuple[Trouble, Client]]:
    replicas = [Replica(folder, {"WEIGHWORTHY_WORKERS": "2"}) for _ in range(2)]
    for replica in replicas:
        replica.start()
    try:
        with nginx(folder, *(replica.port for replica in replicas)) as proxy:
            relay = Relay(proxy.port)
            threading.Thread(target=relay.serve, daemon=True).start()
            client = Client(
                f"https://127.0.0.1:{relay.port}",
                api_key=KEY,
                verify=str(proxy.certificate),
                retries=RETRIES,
            )
            with client:
                yield Trouble(replicas, proxy, relay), client
    finally:
        for replica in replicas:
            replica.stop()


def judge_table(client: Client, table: Path, mapping: Path, out: Path) -> None:
    out.unlink(missing_ok=True)
    client.evaluate_table(table, mapping, out=out, resume=False)


def judge_many(client: Client, rows: int, out: Path) -> None:
    """The bytes of each answer, a line each, behind the labels that came with it."""
    with out.open("wb") as file:
        for answer in client.evaluate_many(requests_of(rows)):
            if not isinstance(answer, Answer):
                raise SystemExit(f"a row was refused: {answer}")
            file.write(answer.raw + b"\n")


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def run(rows: int, folder: Path) -> tuple[list[str], Trouble, list[str]]:
    """Lines of the report, the trouble that was made, and all that is wrong."""
    table, mapping = folder / "table.csv", folder / "faults.toml"
    write_table(table, rows)
    mapping.write_text(MAPPING, "utf-8")
    ways = {
        "table": (lambda c, out: judge_table(c, table, mapping, out), check_table),
        "requests": (lambda c, out: judge_many(c, few, out), lambda out, _: check_many(out, few)),
    }
    few = rows // 5
    lines, wrong = [], []
    with running(folder) as (trouble, client):
        calm = {}
        for way, (judge, check) in ways.items():
            out = folder / f"calm-{way}.csv"
            begin = time.monotonic()
            judge(client, out)
            took = time.monotonic() - begin
            wrong += [f"undisturbed, {way}: {one}" for one in check(out, rows)]
            calm[way] = digest(out)
            lines.append(f"| undisturbed | {way} | {took:.1f} | sha256 {calm[way][:16]}… |")
        makers = trouble.make()
        begin, number = time.monotonic(), 0
        try:
            while (now := time.monotonic() - begin) < AT_LEAST or number < len(TURNS):
                if now > AT_MOST:
                    break
                way = TURNS[number % len(TURNS)]
                judge, check = ways[way]
                out = folder / f"troubled-{number}.csv"
                number += 1
                before, made = time.monotonic(), trouble.all_made()
                judge(client, out)
                took, met = time.monotonic() - before, trouble.all_made() - made
                found = check(out, rows)
                if digest(out) != calm[way]:
                    found.append("other bytes than undisturbed")
                wrong += [f"run {number}, {way}: {one}" for one in found]
                told = "the same bytes" if not found else f"WRONG: {found[0]}"
                lines.append(f"| with {met} faults | {way} | {took:.1f} | {told} |")
        finally:
            trouble.over.set()
            trouble.relay.cutting = False
            for maker in makers:
                maker.join()
    return lines, trouble, wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", type=int, nargs="?", default=ROWS)
    parser.add_argument("-o", "--out", type=Path)
    asked = parser.parse_args()
    before = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        lines, trouble, wrong = run(asked.rows, Path(folder))
    now = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    made = trouble.made + Counter(
        {f"a connection cut {where}": many for where, many in trouble.relay.cuts.items()}
    )
    where = f"{os.cpu_count()} cores, load {before:.1f} before and {os.getloadavg()[0]:.1f} after"
    how = f"two replicas of two workers behind nginx, {asked.rows:,} rows a table; {where}"
    text = "\n".join(
        [
            "# Faults\n",
            f"{now}, `python tests/bench/faults.py {asked.rows}`: {how}.\n",
            "| faults made | times |",
            "|---|---|",
            *(f"| {what} | {times} |" for what, times in sorted(made.items())),
            "",
            "| run | way | s | checked: every row once, in order, its own reading |",
            "|---|---|---|---|",
            *lines,
            "",
            "All is as undisturbed." if not wrong else "WRONG:",
            *wrong[:20],
        ]
    )
    print(text)
    if asked.out:
        asked.out.write_text(text + "\n", "utf-8")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
