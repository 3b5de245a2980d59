"""Holds what came back of `faults.py` to what was sent, with `csv` and `json` alone.

Rows carry their number, from 1, and a start reading that follows from it; the end reading is always
the same. So whatever stands in an answer can be told from its number.
"""

import csv
import json
from collections import Counter
from pathlib import Path

# In g.
END = "10.001"
# In %; the next row differs by 0.0075 % or more.
TOLERANCE = 0.0005


def start(number: int) -> str:
    """The start reading of a row in g: every row near it has another."""
    return f"{11.5 + number % 1009 / 1000:.3f}"


def loss(number: int) -> float:
    """The loss that a row shows in %, by hand: 100 (start − end) / start."""
    first = float(start(number))
    return 100 * (first - float(END)) / first


def check_table(out: Path, rows: int) -> list[str]:
    """What is wrong with a table that came back. Each row shows its own loss, less what 2 g off
    12 g come to."""
    with out.open(encoding="utf-8-sig", newline="") as file:
        found = list(csv.DictReader(file, delimiter=";"))
    wrong = _numbers([row["Number"] for row in found], rows)
    for row in found:
        if row["Start [g]"] != start(int(row["Number"])):
            wrong.append(f"row {row['Number']}: another reading")
        if row["ww_outcome"] != "judged" or not row["ww_verdict"]:
            wrong.append(f"row {row['Number']}: {row['ww_outcome']} {row['ww_error']}")
        elif abs(float(row["ww_value"]) + 100 * 2 / 12 - loss(int(row["Number"]))) > TOLERANCE:
            wrong.append(f"row {row['Number']}: {row['ww_value']} is not the error of this row")
    return wrong


def check_many(out: Path, rows: int) -> list[str]:
    """What is wrong with answers: each is that of its own number and of its own reading."""
    numbers, wrong = [], []
    for line in out.read_text("utf-8").splitlines():
        answer = json.loads(line)
        number = answer["labels"]["number"]
        numbers.append(number)
        found = float(answer["results"]["loss"])
        if abs(found - loss(int(number))) > TOLERANCE:
            wrong.append(f"{number}: {found} % is not the loss of this row")
    return _numbers(numbers, rows) + wrong


def _numbers(found: list[str], rows: int) -> list[str]:
    """Every number once, in order."""
    wanted = [str(number) for number in range(1, rows + 1)]
    if found == wanted:
        return []
    times = Counter(found)
    missing = [n for n in wanted if not times[n]]
    twice = [n for n, many in times.items() if many > 1]
    return [f"missing {missing[:5]}, more than once {twice[:5]}, or in another order"]
