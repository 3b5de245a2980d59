"""After a check has failed: which results are in doubt, as CSV on standard output.

    python examples/logbook/in_doubt.py [LOGBOOK RESULTS [TIME]] > in_doubt.csv

A line for each result that a person has to look at, with what the error that was found would have
done to it. Exit code 1 when there is any. Without arguments it asks about the logbook of an
invented mill, which a simulation writes.

Uses the service inside this process, or the one at WEIGHWORTHY_URL (key: WEIGHWORTHY_API_KEY).
"""

import csv
import os
import sys
import tempfile
from pathlib import Path

from invented_log import MOMENT, write_log

from weighworthy import Client, LogbookAnswer

COLUMNS = ("result", "instrument", "at", "method", "loss", "state", "check", "needs", "crossing")
SHIFT = ("fault", "lower", "upper", "corrected")


def main(arguments: list[str]) -> int:
    if arguments:
        book, results, *at = arguments
        return write(asked(Path(book), Path(results), at[0] if at else None))
    with tempfile.TemporaryDirectory() as folder:
        return write(asked(*write_log(Path(folder)), MOMENT))


def asked(book: Path, results: Path, at: str | None) -> LogbookAnswer:
    url = os.environ.get("WEIGHWORTHY_URL")
    key = os.environ.get("WEIGHWORTHY_API_KEY")
    with Client.embedded() if url is None else Client(url, api_key=key) as service:
        return service.logbook.support(book, results=results, at=at)


def write(answer: LogbookAnswer) -> int:
    table = csv.writer(sys.stdout)
    table.writerow([*COLUMNS, *(f"shift_{name}" for name in SHIFT)])
    needy = [one for one in answer.results if one["needs"] != "nothing"]
    for one in needy:
        # Per check the largest shift comes first.
        shift = one["shifts"][0] if one["shifts"] else {}
        cells = [*(one[name] for name in COLUMNS), *(shift.get(name) for name in SHIFT)]
        table.writerow([harmless(cell) for cell in cells])
    print(answer.summary["sentence"], file=sys.stderr)
    return 1 if needy else 0


def harmless(cell: object) -> object:
    """A text that a spreadsheet would run as a formula gets an apostrophe."""
    return f"'{cell}" if isinstance(cell, str) and cell.lstrip()[:1] in "=+-@" else cell


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8", newline="")
    sys.exit(main(sys.argv[1:]))
