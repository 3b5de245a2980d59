"""How long a table takes, a row, beside the bare reading and writing of it, and how much memory.

`python tests/bench/tables.py [rows]` prints figures for a table of 300,000 rows if not told
otherwise, of 12 columns, each a simulated loss. It is no test: figures depend on the machine, so
compare ratios within one run. All times are CPU time of one process, medians of five rounds, in
which the candidates take turns. What takes long has a tenth of the rows; the runs for memory take
up to a million.

The readings are drawn: on weights of 12 g and 10 g, normal about them with the standard deviation
of each balance, rounded to its display. So they repeat, as readings of the same weights do. A
second table has hardly two rows alike in their readings, as of loads that are never the same.
"""

import argparse
import csv
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from uncertainties import UFloat, ufloat

from weighworthy_service.web.app import create_app
from weighworthy_service.web.settings import Settings

ROUNDS = 5
BALANCES = 20
HEADER = [
    "Balance", "When", "Start [g]", "End [g]", "Loss [%]", "Analyst", "Sample", "Warm-up [min]",
    "Heated", "Line", "Order", "Remark",
]  # fmt: skip
MAPPING = """
id = "bench"
check = "simulated-loss"
time_zone = "Europe/Berlin"
[columns]
instrument = "Balance"
performed_at = { column = "When", format = "%d.%m.%Y %H:%M" }
"initial.indication" = "Start [g]"
"final.indication" = "End [g]"
displayed_loss = "Loss [%]"
performed_by = "Analyst"
"labels.sample" = "Sample"
"labels.order" = "Order"
warm_up = "Warm-up [min]"
heating = { column = "Heated", values = { yes = true, no = false } }
[constants]
initial.load = ["A10", "A2"]
final.load = ["A10"]
[constants.weights.A10]
nominal = "10 g"
conventional_mass = "10.00012 g"
expanded_uncertainty = "0.06 mg"
calibrated_on = "2020-01-01"
due_on = "2030-01-01"
[constants.weights.A2]
nominal = "2 g"
weight_class = "OIML F1"
calibrated_on = "2020-01-01"
due_on = "2030-01-01"
""" + "".join(
    f"""
[instruments.MA-{number:02}]
scale_interval = "{"1 mg" if number % 2 else "0.1 mg"}"
loss_interval = "0.01 %"
repeatability = "{"0.6 mg" if number % 2 else "0.2 mg"}"
repeatability_observations = 10
"""
    for number in range(BALANCES)
)


def write_table(path: Path, rows: int, *, all_different: bool) -> None:
    """An archive of one check a day of each balance (invented)."""
    draw = random.Random(rows)  # noqa: S311
    begin = datetime(2020, 1, 2, 7, 0)  # noqa: DTZ001
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=";")
        writer.writerow(HEADER)
        for number in range(rows):
            balance = number % BALANCES
            digits, s = (3, 0.0006) if balance % 2 else (4, 0.0002)
            start, end = draw.gauss(12.0001, s), draw.gauss(10.0001, s)
            if all_different:
                start = draw.uniform(11.5, 12.5)
                end = start * 10.0001 / 12.0001 + draw.gauss(0, s)
            loss = 100 * (start - end) / start
            day = begin + timedelta(days=number // BALANCES % 3000, minutes=balance * 7)
            writer.writerow(
                [
                    f"MA-{balance:02}", day.strftime("%d.%m.%Y %H:%M"), comma(start, digits),
                    comma(end, digits), comma(loss, 2), f"Analyst {number % 7}", f"V-{number}",
                    90 if balance % 3 else 60, "no", balance // 5, f"P{number // 40:05}", "",
                ]
            )  # fmt: skip


def comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def floor(table: Path, out: Path) -> None:
    """`csv.reader` straight into `csv.writer`."""
    with table.open(encoding="utf-8", newline="") as read, out.open("w", newline="") as written:
        csv.writer(written, delimiter=";").writerows(csv.reader(read, delimiter=";"))


def own_script(table: Path, out: Path) -> None:
    """What a laboratory would write: value, expanded uncertainty, verdict; nothing is validated."""
    stayed, removed = ufloat(10.00012, 0.00003), ufloat(2, 0.000023)
    expected = 100 * removed / (removed + stayed)
    with (
        table.open(encoding="utf-8", newline="") as read,
        out.open("w", encoding="utf-8", newline="") as written,
    ):
        reader, writer = csv.reader(read, delimiter=";"), csv.writer(written, delimiter=";")
        writer.writerow([*next(reader), "error", "U", "verdict"])
        for row in reader:
            start, end = (ufloat(float(text.replace(",", ".")), 0.0007) for text in row[2:4])
            error: UFloat = 100 * (start - end) / start - expected
            value, spread = error.nominal_value, 2 * error.std_dev
            writer.writerow([*row, value, spread, "pass" if abs(value) <= 0.025 else "fail"])


def service(accept: str) -> Callable[[Path, Path], None]:
    """The whole way through the application, from the body of a request to that of its answer."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "bench.toml").write_text(MAPPING)
        app = create_app(Settings(anonymous="yes", mappings=Path(folder)))

    def judge(table: Path, out: Path) -> None:
        with table.open("rb") as read, out.open("wb") as written:
            environ: dict[str, Any] = {
                "REQUEST_METHOD": "POST",
                "PATH_INFO": "/v1/batches",
                "QUERY_STRING": "mapping=bench",
                "CONTENT_TYPE": "text/csv",
                "CONTENT_LENGTH": str(table.stat().st_size),
                "HTTP_ACCEPT": accept,
                "SERVER_NAME": "bench",
                "SERVER_PORT": "80",
                "SERVER_PROTOCOL": "HTTP/1.1",
                "wsgi.url_scheme": "http",
                "wsgi.input": read,
                "wsgi.errors": sys.stderr,
            }
            said: list[str] = []
            pieces = app(environ, lambda status, *_: said.append(status) or written.write)
            written.writelines(pieces)
            pieces.close()  # type: ignore[attr-defined]
            assert said == ["200 OK"], out.read_text()[:2000]

    return judge


def cpu(run: Callable[[Path, Path], None], table: Path, out: Path, rows: int) -> float:
    """CPU time in µs a row."""
    begin = time.process_time()
    run(table, out)
    return (time.process_time() - begin) / rows * 1e6


def speed(folder: Path, rows: int) -> None:
    few = max(rows // 10, 1)
    tables = {}
    for name, number, different in (
        ("all", rows, False),
        ("few", few, False),
        ("twice", 2 * few, False),
        ("different", few, True),
        ("all different", rows, True),
    ):
        tables[name] = folder / f"{name}.csv"
        write_table(tables[name], number, all_different=different)
    as_csv, as_json = service("text/csv"), service("application/x-ndjson")
    candidates: list[tuple[str, Callable[[Path, Path], None], str, int]] = [
        ("(a) csv.reader into csv.writer", floor, "all", rows),
        ("(b) csv and uncertainties, no validation", own_script, "few", few),
        ("(c) CSV to CSV, whole path in process", as_csv, "all", rows),
        ("    the same, a tenth of the rows", as_csv, "few", few),
        ("    the same, a fifth of the rows", as_csv, "twice", 2 * few),
        ("    CSV to CSV, all readings different", as_csv, "all different", rows),
        ("    all different, a tenth of the rows", as_csv, "different", few),
        ("    whole answers as NDJSON", as_json, "few", few),
    ]
    out = folder / "out"
    taken: dict[str, list[float]] = {name: [] for name, *_ in candidates}
    for _ in range(ROUNDS):
        for name, run, table, number in candidates:
            taken[name].append(cpu(run, tables[table], out, number))
    base = statistics.median(taken[candidates[0][0]])
    print(f"{'CPU time a row, median of 5':44} {'rows':>8} {'µs':>8} {'× (a)':>7}")
    for name, _, _, number in candidates:
        median = statistics.median(taken[name])
        print(f"{name:44} {number:8,} {median:8.1f} {median / base:7.1f}")


def memory(folder: Path) -> None:
    print(f"\n{'peak memory of a process of its own':44} {'rows':>8} {'MiB':>8}")
    for rows in (100_000, 1_000_000):
        table = folder / "memory.csv"
        write_table(table, rows, all_different=False)
        for name, accept in (("CSV to CSV", "text/csv"),):
            command = [sys.executable, __file__, "--peak", accept, str(table)]
            done = subprocess.run(command, capture_output=True, text=True, check=True)
            kib, seconds = done.stdout.split()
            print(f"{name:44} {rows:8,} {int(kib) / 1024:8.1f}   in {float(seconds):.1f} s")


def peak(accept: str, table: Path) -> Iterator[str]:
    begin = time.monotonic()
    service(accept)(table, Path(os.devnull))
    yield str(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    yield str(time.monotonic() - begin)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="?", type=int, default=300_000)
    parser.add_argument("--peak", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--no-memory", action="store_true", help="leave out the runs for memory")
    asked = parser.parse_args()
    if asked.peak:
        print(*peak(asked.peak[0], Path(asked.peak[1])))
        return
    with tempfile.TemporaryDirectory() as folder:
        speed(Path(folder), asked.rows)
        if not asked.no_memory:
            memory(Path(folder))


if __name__ == "__main__":
    main()
