"""A written workbook, read again by another library."""

import io
import json

import openpyxl
import pytest

from weighworthy import TableFileError, workbook_out
from weighworthy.workbook_out import workbook_of_cells, workbook_of_csv
from weighworthy.workbook_seen import Hidden

ADDED = "ww_outcome;ww_check;ww_value"


@pytest.fixture
def from_csv(tmp_path):
    def made(text):
        answer = tmp_path / "answer.csv"
        answer.write_bytes(text.encode("utf-8-sig"))
        workbook_of_csv(answer, ",", tmp_path / "out.xlsx")
        return openpyxl.load_workbook(tmp_path / "out.xlsx").active

    return made


@pytest.mark.parametrize(
    ("text", "value", "number_format"),
    [
        ("12,0030", 12.003, "0.0000"),
        ("-5", -5, "0"),
        ("007", "007", "General"),
        ("1.234", "1.234", "General"),
        ("1234567890,123456", "1234567890,123456", "General"),
        ("'=1+1", "'=1+1", "General"),
        ("=1+1", "=1+1", "General"),
        ("http://example.invalid/", "http://example.invalid/", "General"),
        ("12,0 g", "12,0 g", "General"),
    ],
)
def test_a_cell_is_what_it_was(from_csv, text, value, number_format):
    sheet = from_csv(f"A;{ADDED}\r\n{text};judged;span;0,00690219922646177\r\n")
    cell = sheet["A2"]
    assert (cell.value, cell.number_format) == (value, number_format)
    assert cell.data_type == ("n" if isinstance(value, int | float) else "s")
    assert cell.hyperlink is None
    assert sheet["D2"].value == 0.00690219922646177


def test_what_no_sheet_can_hold_is_replaced(from_csv):
    sheet = from_csv(f"A;{ADDED}\r\na\x07b{'x' * 40_000};judged;span;\r\n")
    assert sheet["A2"].value.startswith("a\ufffdb")
    # A cell of a workbook holds 32,767 characters.
    assert len(sheet["A2"].value) == 32_767


def test_a_table_longer_than_a_sheet(from_csv, monkeypatch):
    monkeypatch.setattr(workbook_out, "MOST_ROWS", 2)
    with pytest.raises(TableFileError, match=r"write it as \.csv"):
        from_csv(f"A;{ADDED}\r\n1;judged;span;1\r\n2;judged;span;1\r\n")


def test_typed_cells_get_the_columns_behind_the_widest_row(tmp_path):
    rows = [
        ["Tests: [1]", 1, ["Title"]],
        ["Tests: [1]", 3, ["A", "B"]],
        ["Tests: [1]", 4, [{"n": "12.003", "format": "0.0000"}, {"t": "2026-03-02T07:30:00"}]],
        ["Tests: [1]", 6, [{"b": True}, {"error": "#N/A"}, {"uncached": "=A1"}, {"t": "07:30:00"}]],
    ]
    cells = io.BytesIO("".join(json.dumps(row) + "\n" for row in rows).encode())
    answer = tmp_path / "answer.csv"
    answer.write_text(
        f"ww_sheet;ww_row;{ADDED}\r\n"
        "Tests: [1];1;skipped;;\r\n"
        "Tests: [1];4;judged;span;0,5\r\n"
        "Tests: [1];6;error;span;\r\n",
        "utf-8",
        newline="",
    )
    workbook_of_cells(cells, {"Tests: [1]": 4}, answer, tmp_path / "out.xlsx")
    book = openpyxl.load_workbook(tmp_path / "out.xlsx")
    assert book.sheetnames == ["Tests_ _1_"]
    sheet = book.active
    assert [cell.value for cell in sheet[3]] == ["A", "B", None, None, *ADDED.split(";")]
    assert (sheet["A4"].value, sheet["A4"].number_format) == (12.003, "0.0000")
    assert sheet["B4"].value.isoformat() == "2026-03-02T07:30:00"
    assert [cell.value for cell in sheet[4]][4:] == ["judged", "span", 0.5]
    assert [cell.value for cell in sheet[6]][:3] == [True, "#N/A", "=A1"]
    assert sheet["C6"].data_type == "s"
    assert sheet["D6"].value.isoformat() == "07:30:00"


@pytest.mark.parametrize(
    ("shown", "cell", "stored"),
    [
        ("dd.mm.yyyy", {"t": "2026-03-02T00:00:00"}, None),
        ("[$-407]d. mmmm yyyy", {"t": "2026-03-02"}, None),
        ("hh:mm", {"t": "07:30:00"}, None),
        # ECMA-376 part 1, 18.8.30: 14 and 22 are shown as the reader's country writes dates.
        ("mm-dd-yy", {"t": "2026-03-02T00:00:00"}, 14),
        ("m/d/yy h:mm", {"t": "2026-03-02T07:30:00"}, 22),
        ("[h]:mm:ss", {"n": "1.5"}, 46),
    ],
)
def test_times_are_shown_as_they_were(tmp_path, shown, cell, stored):
    answer = tmp_path / "answer.csv"
    answer.write_text(f"ww_sheet;ww_row;{ADDED}\r\n", "utf-8", newline="")
    cells = io.BytesIO(json.dumps(["T", 1, [{**cell, "format": shown}]]).encode() + b"\n")
    workbook_of_cells(cells, {"T": 1}, answer, tmp_path / "out.xlsx")
    written = openpyxl.load_workbook(tmp_path / "out.xlsx").active["A1"]
    assert written.number_format == shown
    assert written.is_date
    number = written._style.numFmtId
    assert number == stored if stored is not None else number >= 164


def test_an_answer_of_a_row_that_was_not_sent(tmp_path):
    answer = tmp_path / "answer.csv"
    answer.write_text(f"ww_sheet;ww_row;{ADDED}\r\nT;9;judged;span;1\r\n", "utf-8", newline="")
    cells = io.BytesIO(b'["T", 1, ["A"]]\n')
    with pytest.raises(TableFileError, match="row 9"):
        workbook_of_cells(cells, {"T": 1}, answer, tmp_path / "out.xlsx")


def test_what_is_hidden_stays_so(tmp_path):
    lines = [["Bench", n, [f"x{n}", {"n": "1"}]] for n in (1, 2, 4, 5, 9)]
    cells = io.BytesIO("".join(json.dumps(line) + "\n" for line in lines).encode())
    answer = tmp_path / "answer"
    rows = "".join(f"Bench,{n},judged,true\r\n" for n in (2, 4, 5, 9))
    answer.write_bytes(f"ww_sheet,ww_row,ww_outcome,ww_check\r\n{rows}".encode())
    hidden = {"Bench": Hidden(((2, 4), (9, 9)), ((2, 2),))}
    workbook_of_cells(cells, {"Bench": 2}, answer, tmp_path / "out.xlsx", hidden)
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx")["Bench"]
    # Row 3 is hidden as well, but holds nothing that could be seen.
    assert [n for n in range(1, 10) if sheet.row_dimensions[n].hidden] == [2, 4, 9]
    assert [c for c in "ABCD" if sheet.column_dimensions[c].hidden] == ["B"]
    assert sheet["A9"].value == "x9"
