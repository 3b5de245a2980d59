"""How long the command takes on a file with one process and with all, and what workbooks cost.

`python tests/bench/table_command.py [rows] [workbook rows]` prints figures for 300,000 rows of CSV
and 100,000 of XLSX if not told otherwise, of the same table as `tables.py`. It is no test: figures
depend on the machine, so compare ratios within one run, and run it with nothing beside it.
"""

import argparse
import csv
import multiprocessing
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import openpyxl
import xlsxwriter
from tables import MAPPING, write_table

from weighworthy import Client

ROUNDS = 5


def run_command(table: Path, mapping: Path, out: Path, processes: int) -> tuple[float, float]:
    """Wall time in s, and the peak memory in MiB of the largest process that took part."""
    asked = [sys.executable, __file__, "--one", table, mapping, out, str(processes)]
    seconds, kib = subprocess.run(asked, check=True, capture_output=True, text=True).stdout.split()
    return float(seconds), int(kib) / 1024


def one(table: str, mapping: str, out: str, processes: str) -> None:
    command = [sys.executable, "-m", "weighworthy.cli", "evaluate", table, "--mapping", mapping]
    begin = time.monotonic()
    done = subprocess.run(
        [*command, "-o", out, "--processes", processes, "--quiet"], check=False, text=True
    )
    assert done.returncode in (0, 1), done
    print(time.monotonic() - begin, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)


def command(folder: Path, mapping: Path, rows: int) -> None:
    table, out = folder / "table.csv", folder / "out.csv"
    write_table(table, rows, all_different=False)
    cores = len(os.sched_getaffinity(0))
    taken: dict[int, list[tuple[float, float]]] = {1: [], cores: []}
    for _ in range(ROUNDS):
        for processes, found in taken.items():
            found.append(run_command(table, mapping, out, processes))
    print(f"{'the command on a file, wall time':44} {'rows':>8} {'s':>8} {'MiB':>8}")
    for processes, found in taken.items():
        seconds = statistics.median(s for s, _ in found)
        peak = max(mib for _, mib in found)
        # Of each round the two beside each other: the machine may be slower in the next.
        ratios = [s / alone for (s, _), (alone, _) in zip(found, taken[1], strict=True)]
        name = f"(d) {processes} process{'' if processes == 1 else 'es'}"
        said = f"{statistics.median(ratios):.2f} × one ({min(ratios):.2f} to {max(ratios):.2f})"
        print(f"{name:44} {rows:8,} {seconds:8.1f} {peak:8.1f}   {said}")
    print(f"{'what one busy loop loses beside another':44} {slowed():26.2f} ×")


def slowed() -> float:
    """What this machine gives to two processes at once, of which none waits for anything."""
    with multiprocessing.Pool(2) as pool:
        alone = [pool.apply(busy) for _ in range(ROUNDS)]
        both = [max(pool.map(busy, range(2), chunksize=1)) for _ in range(ROUNDS)]
    return statistics.median(both) / statistics.median(alone)


def busy(_: int = 0) -> float:
    """Wall time in s of work of fixed size."""
    begin = time.monotonic()
    sum(number * number % 7 for number in range(5_000_000))
    return time.monotonic() - begin


def bare(table: Path, answer: Path, out: Path) -> None:
    """Read every cell of the workbook, and write every cell of the answer, and nothing else."""
    book = openpyxl.load_workbook(table, read_only=True, data_only=True)
    rows = 0
    for row in book.active.iter_rows():
        for cell in row:
            rows += cell.value is not None
    book.close()
    with answer.open(encoding="utf-8-sig", newline="") as file:
        written = xlsxwriter.Workbook(str(out), {"constant_memory": True})
        sheet = written.add_worksheet()
        for number, cells in enumerate(csv.reader(file, delimiter=";")):
            for place, text in enumerate(cells):
                if not text:
                    continue
                try:
                    sheet.write_number(number, place, float(text.replace(",", ".")))
                except ValueError:
                    sheet.write_string(number, place, text)
        written.close()


def workbooks(folder: Path, mapping: Path, rows: int) -> None:
    source, table = folder / "source.csv", folder / "table.xlsx"
    write_table(source, rows, all_different=False)
    with Client.embedded() as client:
        answer = folder / "answer.csv"
        client.evaluate_table(source, mapping, out=answer)
        with source.open(encoding="utf-8", newline="") as file:
            book = xlsxwriter.Workbook(str(table), {"constant_memory": True})
            sheet = book.add_worksheet("Checks")
            for number, row in enumerate(csv.reader(file, delimiter=";")):
                for place, text in enumerate(row):
                    if number and place in (2, 3, 4, 7, 9):
                        sheet.write_number(number, place, float(text.replace(",", ".")))
                    elif text:
                        sheet.write_string(number, place, text)
            book.close()
        taken: dict[str, list[float]] = {"bare": [], "whole": []}
        for _ in range(ROUNDS):
            begin = time.process_time()
            bare(table, answer, folder / "bare.xlsx")
            middle = time.process_time()
            client.evaluate_table(table, mapping, out=folder / "out.xlsx")
            taken["bare"].append(middle - begin)
            taken["whole"].append(time.process_time() - middle)
    base = statistics.median(taken["bare"])
    print(f"\n{'workbook in and out, CPU time':44} {'rows':>8} {'s':>8}")
    print(f"{'openpyxl and XlsxWriter, the same cells':44} {rows:8,} {base:8.1f}")
    whole = statistics.median(taken["whole"])
    print(f"{'the whole way, with verdicts':44} {rows:8,} {whole:8.1f}   {whole / base:.2f} × bare")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="?", type=int, default=300_000)
    parser.add_argument("workbook_rows", nargs="?", type=int, default=100_000)
    parser.add_argument("--one", nargs=4, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        one(*asked.one)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        mapping = folder / "mapping.toml"
        mapping.write_text(MAPPING, "utf-8")
        if asked.rows:
            command(folder, mapping, asked.rows)
        if asked.workbook_rows:
            workbooks(folder, mapping, asked.workbook_rows)


if __name__ == "__main__":
    main()
