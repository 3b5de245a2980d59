"""Part a logbook as laboratories have it: daily checks in an export of their own, the rest beside.

    python as_export.py mill.ndjson losses.csv > others.ndjson

Checks of a simulated loss go to the table, a row each; losses.toml tells what its columns mean. All
else stays a logbook. Kestrel Mill Foods and its logbook, which simulate.py writes, are invented.
"""

import csv
import json
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

TITLE = "Kestrel Mill Foods (invented);daily checks of the dryers"
HEADER = (
    *("Balance", "Date", "Time", "Done by", "Warm-up [min]", "Oven"),
    *("On at start", "Start [g]", "Steady at start", "On at end", "End [g]", "Steady at end"),
)
OVEN, YES = {True: "hot", False: "cold"}, {True: "yes", False: "no"}


def main(book: Path, table: Path) -> None:
    head, *lines = book.read_text("utf-8").splitlines()
    losses, others = [], [head]
    for line in lines:
        request = json.loads(line).get("request", {})
        if request.get("check") == "simulated-loss":
            losses.append(request)
        else:
            others.append(line)
    with table.open("w", encoding="utf-8", newline="") as file:
        file.write(f"{TITLE}\r\n\r\n")
        writer = csv.writer(file, delimiter=";")
        writer.writerow(HEADER)
        writer.writerows(tuple(cells(request)) for request in losses)
    sys.stdout.writelines(f"{line}\n" for line in others)


def cells(request: dict[str, Any]) -> Iterator[str]:
    at = datetime.fromisoformat(request["performed_at"])
    yield request["instrument"]["id"]
    yield at.strftime("%d.%m.%Y")
    yield at.strftime("%H:%M")
    yield request["performed_by"]
    yield request["warm_up"].removesuffix(" min")
    yield OVEN[request["heating"]]
    for reading in (request["initial"], request["final"]):
        yield "+".join(reading["load"])
        yield reading["indication"].removesuffix(" g").replace(".", ",")
        yield YES[reading["stable"]]


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8", newline="\n")
    main(*map(Path, sys.argv[1:]))
