"""Checks of several rows are counted alike in every form of an answer, also where they look alike.

Kestrel Mill Foods and all its readings are invented.
"""

import csv
from dataclasses import replace
from io import StringIO

import openpyxl
import pytest

from weighworthy import Client

MAPPING = {
    "check": "span",
    "time_zone": "Europe/Berlin",
    "columns": {
        "performed_at": {"columns": ["Date", "Time"], "format": "%d.%m.%Y %H:%M"},
        "rounds.stage": "Stage",
        "rounds.load": "Weight",
        "rounds.zero": {"column": "Zero", "unit": "g"},
        "rounds.indication": {"column": "Shown", "unit": "g"},
    },
    "constants": {
        "instrument": {"id": "MA-07", "scale_interval": "1 mg"},
        "weights": {"W50": {"nominal": "50 g", "weight_class": "OIML F1"}},
    },
    "gather": {"by": ["Run"]},
}
HEADER = ["Run", "Date", "Time", "Stage", "Weight", "Zero", "Shown"]


def round_of(run, day, stage, shown="50.0000"):
    return [run, f"{day:02}.03.2026", "08:00", stage, "W50", "0.0000", shown]


# Runs are numbered anew every day; those of the 2nd, 3rd and 4th say the same to the last digit.
# The 5th has one of its own, with a fault; the 6th two that say the same, one between the other.
ROWS = [
    *(round_of("1", day, stage) for day in (2, 3, 4) for stage in ("as-found", "as-left")),
    round_of("1", 5, "as-found"),
    round_of("1", 5, "as-left", "OVERLOAD"),
    round_of("1", 6, "as-found"),
    round_of("2", 6, "as-found"),
    round_of("1", 6, "as-left"),
    round_of("2", 6, "as-left"),
]


def as_csv(folder):
    path = folder / "runs.csv"
    out = StringIO(newline="")
    csv.writer(out).writerows([HEADER, *ROWS])
    path.write_text(out.getvalue(), "utf-8", newline="")
    return path


def as_workbook(folder):
    path = folder / "runs.xlsx"
    book = openpyxl.Workbook()
    for row in (HEADER, *ROWS):
        book.active.append([float(c) if c.count(".") == 1 else c for c in row])
    book.save(path)
    return path


@pytest.mark.parametrize("table", [as_csv, as_workbook])
def test_checks_that_say_the_same_under_a_key_that_is_used_again(tmp_path, table):
    with Client.embedded() as client:
        forms = ("ndjson", "csv", "xlsx")
        path = table(tmp_path)
        told = [
            client.evaluate_table(path, MAPPING, out=tmp_path / f"out.{form}") for form in forms
        ]
    # The service counts them itself where it answers in lines.
    lines, *others = told
    assert (lines.rows_in, lines.rows_judged, lines.rows_in_error) == (12, 10, 2)
    assert (lines.checks, sum(lines.verdicts.values())) == (5, 5)
    # A workbook that becomes CSV tells no numbers of rows.
    named = {"rows_faulty": lines.rows_faulty, "rows_unusable": lines.rows_unusable}
    assert [replace(other, **named) for other in others] == [lines, lines]
    rows = list(csv.DictReader(StringIO((tmp_path / "out.csv").read_text("utf-8-sig"), newline="")))
    assert [row["ww_first_row"] for row in rows] == [
        *("2", "2", "4", "4", "6", "6", "", ""),
        *("10", "11", "10", "11"),
    ]
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx").active
    place = [cell.value for cell in sheet[1]].index("ww_first_row")
    assert [row[place] for row in sheet.iter_rows(min_row=10, values_only=True)] == [10, 11, 10, 11]
