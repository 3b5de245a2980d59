"""Rows in the order of the table, whatever belongs together, and proof that none is lost."""

import csv
import io
import json
from collections.abc import Iterator
from typing import Any, Final

import pytest

from weighworthy_service.profiles.finding import built_in
from weighworthy_service.tables import csv_answer as module
from weighworthy_service.tables.added import ADDED
from weighworthy_service.tables.csv_answer import RowsLostError, csv_answer
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.mapping_reading import parse_mapping
from weighworthy_service.tables.plan import plan_of
from weighworthy_service.tables.reading import open_cells, open_csv
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.writing import Layout

LINEARITY: Final = b"""
check = "linearity"
gather = { by = ["Run"], complete = 3 }
[columns]
"points.load" = "Weight"
"points.zero" = "Zero [g]"
"points.indication" = "Shown [g]"
[constants]
instrument = { scale_interval = "1 mg" }
weights.A = { nominal = "5 g", weight_class = "OIML F1" }
weights.B = { nominal = "10 g", weight_class = "OIML F1" }
weights.C = { nominal = "20 g", weight_class = "OIML F1" }
"""
# Two runs between each other, a blank row in the first, a bad cell in the third.
ROWS: Final = """\
Run,Weight,Zero [g],Shown [g]
R1,A,0.0000,5.0010
R2,A,0.0000,5.0000
R1,B,0.0000,10.0010
,,,
R2,B,0.0000,10.0000
R3,A,0.0000,5.0000
R1,C,0.0000,20.0020
R3,B,0.0000,OL
R2,C,0.0000,20.0000
R3,C,0.0000,20.0000
"""


def run_of(mapping: bytes, text: str) -> Run:
    read = parse_mapping(mapping)
    table = open_csv(
        io.BytesIO(text.encode()), read.table, read.wanted, numbers=number_columns(read)
    )
    return Run(table, plan_of(read, table), AtHand(built_in()))


def written(run: Run, layout: Layout) -> list[dict[str, str]]:
    text = b"".join(csv_answer(run, layout)).decode()
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=layout.delimiter))


def test_gathered_rows_come_back_in_their_order() -> None:
    rows = written(run_of(LINEARITY, ROWS), Layout(",", ".", marked=False))
    came = list(csv.DictReader(io.StringIO(ROWS)))
    assert [{name: row[name] for name in came[0]} for row in rows] == came
    assert [(row["ww_outcome"], row["ww_group"]) for row in rows] == [
        ("judged", "R1"),
        ("judged", "R2"),
        ("judged", "R1"),
        ("skipped", ""),
        ("judged", "R2"),
        ("error", "R3"),
        ("judged", "R1"),
        ("error", "R3"),
        ("judged", "R2"),
        ("error", "R3"),
    ]
    # Rows as a spreadsheet program counts them: the first of each check that was judged.
    assert [row["ww_first_row"] for row in rows if row["ww_group"] == "R1"] == ["2"] * 3
    assert [row["ww_first_row"] for row in rows if row["ww_group"] == "R2"] == ["3"] * 3
    assert {row["ww_first_row"] for row in rows if row["ww_outcome"] != "judged"} == {""}
    errors = [row["ww_error"].partition(":")[0] for row in rows if row["ww_outcome"] == "error"]
    assert errors == ["group-incomplete", "invalid", "group-incomplete"]
    assert {row["ww_criterion"] for row in rows if row["ww_group"] == "R1"} != {""}


def test_a_table_without_header_gets_one() -> None:
    mapping = LINEARITY.replace(b'"Run"', b'"#1"').replace(b'"Weight"', b'"#2"')
    mapping = mapping.replace(b'"Zero [g]"', b'{ column = "#3", unit = "g" }')
    mapping = mapping.replace(b'"Shown [g]"', b'{ column = "#4", unit = "g" }')
    mapping = mapping.replace(b"[columns]", b"[table]\nheader_row = 0\n[columns]")
    (first, *_) = written(run_of(mapping, ROWS.partition("\n")[2]), Layout(",", ".", marked=False))
    assert list(first) == ["#1", "#2", "#3", "#4", *ADDED]
    assert first["ww_outcome"] == "judged"


def test_a_row_that_cannot_be_read_is_shown_by_its_beginning() -> None:
    text = ROWS.replace("R3,B,0.0000,OL", 'R3,"B,5')
    rows = written(run_of(LINEARITY, text), Layout(",", ".", marked=False))
    assert len(rows) == 10
    assert rows[7]["Run"] == 'R3,"B,5'
    assert rows[7]["ww_outcome"] == "error"
    assert "quote-unclosed" in rows[7]["ww_error"]


def test_a_row_with_too_many_cells_comes_back_in_those_of_the_table() -> None:
    text = ROWS.replace("R3,B,0.0000,OL", "R3,B,0.0000,20,0000,=1")
    rows = written(run_of(LINEARITY, text), Layout(",", ".", marked=False))
    assert [rows[7][name] for name in ("Run", "Weight", "Zero [g]", "Shown [g]")] == [
        "R3",
        "B",
        "0.0000",
        "20,0000,=1",
    ]
    assert "too-many-cells" in rows[7]["ww_error"]


def test_the_name_of_a_sheet_is_no_formula() -> None:
    # As CWE-1236 has it: a cell that begins so is reckoned with by a spreadsheet program.
    name = "=cmd|' /C calc'!A0"
    read = parse_mapping(LINEARITY)
    lines = [json.dumps([name, at, row.split(",")]) for at, row in enumerate(ROWS.splitlines(), 1)]
    file = io.BytesIO("\n".join(lines).encode())
    table = open_cells(file, read.table, read.wanted, numbers=number_columns(read))
    run = Run(table, plan_of(read, table), AtHand(built_in()))
    rows = written(run, Layout(",", ".", marked=False, added_only=True))
    assert {row["ww_sheet"] for row in rows} == {f"'{name}"}


def test_a_row_that_is_lost_breaks_the_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    real = module.items_of

    def items_of(*arguments: Any) -> Iterator[Any]:
        items = real(*arguments)
        next(items)
        return items

    monkeypatch.setattr(module, "items_of", items_of)
    pieces = csv_answer(run_of(LINEARITY, ROWS), Layout(",", ".", marked=False))
    with pytest.raises(RowsLostError, match="of 10 rows"):
        list(pieces)


def test_a_refused_check_names_its_bad_row_alone() -> None:
    """Its cells can be read, but what one of them says cannot be: no weight D was declared."""
    text = ROWS.replace("R1,B,0.0000,10.0010", "R1,D,0.0000,10.0010")
    rows = written(run_of(LINEARITY, text), Layout(",", ".", marked=False))
    assert [row["Run"] for row in rows] == [
        "R1",
        "R2",
        "R1",
        "",
        "R2",
        "R3",
        "R1",
        "R3",
        "R2",
        "R3",
    ]
    told = [row["ww_error"] for row in rows if row["Run"] == "R1"]
    assert [said.partition(":")[0] for said in told] == [
        "group-incomplete",
        "invalid",
        "group-incomplete",
    ]
    assert "column 'Weight', cell 'D'" in told[1]
    assert "row 4" in told[0]
    assert all(row["ww_outcome"] == "judged" for row in rows if row["Run"] == "R2")
