"""The command on tables: files, streams, exit codes, and a run that is killed half-way."""

import csv
import json
import subprocess
import sys
import time
import tomllib
from datetime import datetime
from datetime import time as time_of_day
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path

import openpyxl
import pytest

from weighworthy import Client, pieces, table_pieces
from weighworthy.cli import main

EXAMPLES = Path(__file__).parents[2] / "examples" / "tables"
EXPORT, MAPPING = EXAMPLES / "harbour.csv", EXAMPLES / "harbour.toml"


@pytest.fixture(autouse=True)
def clean(monkeypatch):
    for name in ("WEIGHWORTHY_URL", "WEIGHWORTHY_API_KEY"):
        monkeypatch.delenv(name, raising=False)


def evaluate(table, *options):
    return main(
        ["evaluate", str(table), "--mapping", str(MAPPING), "--processes", "1", *map(str, options)]
    )


def changed(tmp_path, *pairs):
    text = EXPORT.read_bytes().decode()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "changed.csv"
    path.write_bytes(text.encode())
    return path


def first_rows(rows, tmp_path):
    """Title, blank row, header and so many checks; none of the first few fails."""
    path = tmp_path / "first.csv"
    path.write_bytes(b"".join(EXPORT.read_bytes().splitlines(keepends=True)[: 3 + rows]))
    return path


def test_exit_codes_say_what_became_of_the_rows(tmp_path, capsys):
    good = first_rows(5, tmp_path)
    assert evaluate(good, "-o", tmp_path / "out.csv") == 0
    assert "7 rows: 5 judged, 0 in error, 2 skipped; 5 checks: 5 pass" in capsys.readouterr().err
    bad_row = tmp_path / "row.csv"
    bad_row.write_bytes(good.read_bytes().replace(b"08:12", b"25:12"))
    assert evaluate(bad_row, "-o", tmp_path / "out.csv") == 3
    failing = tmp_path / "fail.csv"
    # 12,001 - 10,100: a loss 0.8 points below what it should be.
    failing.write_bytes(good.read_bytes().replace(b"12,001;10,000", b"12,001;10,100"))
    assert evaluate(failing, "-o", tmp_path / "out.csv") == 1
    capsys.readouterr()
    both = tmp_path / "both.csv"
    both.write_bytes(failing.read_bytes().replace(b"11:01", b"25:01"))
    assert evaluate(both, "-o", tmp_path / "out.csv") == 3
    said = capsys.readouterr().err
    assert "not to be used: row 4\n" in said
    assert "in error: row 5\n" in said


def test_a_bad_cell_is_named_and_the_rest_is_judged(tmp_path, capsys):
    path = changed(tmp_path, ("12,001;10,000", "12,001;<0,01"))
    assert evaluate(path, "-o", tmp_path / "out.csv") == 3
    rows = list(csv.DictReader(_table(tmp_path / "out.csv"), delimiter=";"))
    assert rows[0]["ww_outcome"] == "error"
    assert "'End weight [g]', cell '<0,01'" in rows[0]["ww_error"]
    assert {row["ww_outcome"] for row in rows[1:]} == {"judged"}
    assert "1 in error" in capsys.readouterr().err


def _table(path):
    return StringIO(path.read_text("utf-8-sig").split("\n", 2)[2], newline="")


@pytest.mark.parametrize("option", [None, "--json"])
def test_without_output_it_goes_to_standard_output(monkeypatch, capsys, option):
    out = TextIOWrapper(BytesIO(), encoding="utf-8", newline="")
    monkeypatch.setattr(sys, "stdout", out)
    evaluate(EXPORT, "--quiet", *([option] if option else []))
    out.flush()
    lines = out.buffer.getvalue().decode().splitlines()
    if option:
        assert json.loads(lines[-1])["summary"]["rows_in"] == 42
        assert json.loads(lines[0])["rows"] == [4]
    else:
        assert len(lines) == 43
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["-o", "out.doc"], "an output ends in"),
        (["--sheet", "Checks", "-o", "no/such/folder/out.csv"], "No such file"),
        (["--processes", "0"], "at least 1"),
        (["--delimiter", "?"], "mapping-not-usable"),
        (["--decimal", "."], ""),
    ],
)
def test_wrong_usage(capsys, tmp_path, monkeypatch, options, said):
    monkeypatch.chdir(tmp_path)
    code = evaluate(EXPORT, *options, "--quiet")
    # A stated decimal point makes every reading of this file a faulty one.
    assert code == (3 if options == ["--decimal", "."] else 2)
    assert said in capsys.readouterr().err


def test_the_table_itself_is_never_written_over(tmp_path, capsys):
    path = changed(tmp_path)
    assert evaluate(path, "-o", path) == 2
    assert "not written over" in capsys.readouterr().err
    assert path.read_bytes() == EXPORT.read_bytes()


@pytest.mark.parametrize("link", [None, Path.hardlink_to, Path.symlink_to])
def test_a_draft_never_goes_over_the_export(tmp_path, capsys, link):
    path = changed(tmp_path)
    out = path
    if link is not None:
        out = tmp_path / "other.toml"
        link(out, path)
    assert main(["mapping", "draft", str(path), "-o", str(out)]) == 2
    assert "not written over" in capsys.readouterr().err
    assert path.read_bytes() == EXPORT.read_bytes()


@pytest.mark.parametrize("role", ["--mapping", "--profile", "--site", "--profiles"])
def test_no_input_of_any_kind_is_written_over(tmp_path, capsys, role):
    tight = tmp_path / "tolerances" / "tight.toml"
    tight.parent.mkdir()
    tight.write_text("[profile]\n", "utf-8")
    # Named as a table, so that nothing else stands in the way.
    given = tight if role == "--profiles" else tmp_path / "given.csv"
    given.write_bytes(MAPPING.read_bytes())
    options = [role, given.parent if role == "--profiles" else given, "-o", given]
    assert evaluate(EXPORT, *options) == 2
    assert "not written over" in capsys.readouterr().err
    assert given.read_bytes() == MAPPING.read_bytes()


def test_no_input_is_written_over_from_python_either(tmp_path):
    given = tmp_path / "mapping.csv"
    given.write_bytes(MAPPING.read_bytes())
    with Client.embedded() as client:
        for inputs in ((EXPORT, given), (given, MAPPING)):
            with pytest.raises(ValueError, match="not written over"):
                client.evaluate_table(*inputs, out=given)
    assert given.read_bytes() == MAPPING.read_bytes()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("End weight [g];", "Final weight [g];", "no column 'End weight [g]'"),
        ("Remark", "End weight [g]", "is there 2 times"),
    ],
)
def test_a_header_that_does_not_fit_the_mapping(tmp_path, capsys, old, new, said):
    path = changed(tmp_path, (old, new))
    assert evaluate(path, "-o", tmp_path / "out.csv") == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "out.csv").exists()


def test_how_the_file_was_read_and_which_rows_to_look_at_is_told(tmp_path, capsys):
    path = tmp_path / "cp1252.csv"
    text = changed(tmp_path, ("A. Brook", "Ä. Brook"), ("11:01", "25:01")).read_bytes().decode()
    path.write_bytes(text.encode("cp1252"))
    assert evaluate(path, "-o", tmp_path / "out.csv") == 3
    said = capsys.readouterr().err
    assert 'read as cp1252, delimiter ";", decimal ",", header in row 3' in said
    assert "(assumed: encoding)" in said
    # Line 5 of the file; the one failing check of the example is in line 20.
    assert "in error: row 5\n" in said
    assert "not to be used: row 20\n" in said
    assert evaluate(path, "-o", tmp_path / "out.csv", "--quiet") == 3
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(("form", "first"), [("csv", 20), ("ndjson", 20), ("xlsx", 20)])
def test_the_same_rows_are_named_in_each_form_and_in_pieces(tmp_path, monkeypatch, form, first):
    path = tmp_path / "long.csv"
    lines = EXPORT.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"sep=;\r\n" + b"".join(lines[:3]) + b"".join(lines[3:]) * 8)
    with Client.embedded() as client:
        for size in (pieces.PIECE, 3_000):
            monkeypatch.setattr(table_pieces, "PIECE", size)
            summary = client.evaluate_table(path, MAPPING, out=tmp_path / f"out.{form}")
            assert (summary.pieces == 1) == (size > 3_000)
            assert summary.unusable == 8
            assert summary.rows_unusable == tuple(first + 40 * number for number in range(5))


@pytest.mark.parametrize("mark", [b"", b";", b"\t"])
@pytest.mark.parametrize("size", [pieces.PIECE, 600])
def test_rows_of_a_table_without_header_are_counted_from_its_first(
    tmp_path, monkeypatch, size, mark
):
    path = tmp_path / "bare.csv"
    rows = b"".join(EXPORT.read_bytes().splitlines(keepends=True)[3:])
    # A first line that names the delimiter is no row.
    path.write_bytes(b"sep=%b\r\n%b" % (mark, rows.replace(b";", mark)) if mark else rows)
    mapping = tomllib.loads(MAPPING.read_text("utf-8"))
    # No;Balance;Date;Time;Done by;Batch;Warm-up [min];Heated;Start weight [g];End weight [g];…
    mapping["columns"] = {
        "instrument": "#2",
        "performed_at": {"columns": ["#3", "#4"], "format": "%d.%m.%Y %H:%M"},
        "warm_up": {"column": "#7", "unit": "min"},
        "heating": {"column": "#8", "values": {"yes": True, "no": False}},
        "initial.indication": {"column": "#9", "unit": "g"},
        "final.indication": {"column": "#10", "unit": "g"},
    }
    mapping["table"] = {"header_row": 0, "decimal": ","}
    monkeypatch.setattr(table_pieces, "PIECE", size)
    with Client.embedded() as client:
        summary = client.evaluate_table(path, mapping, out=tmp_path / "out.csv")
    assert (summary.rows_in, summary.rows_in_error) == (40, 0)
    assert (summary.pieces == 1) == (size == pieces.PIECE)
    # Line 20 of the export, of which three are left out.
    assert summary.rows_unusable == (17,)


def test_csv_becomes_a_workbook_of_numbers_and_texts(tmp_path):
    path = changed(tmp_path, ("16,68;", "16,68;=1+1"))
    evaluate(path, "-o", tmp_path / "out.xlsx", "--quiet")
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx").active
    header = [cell.value for cell in sheet[3]]
    first = dict(zip(header, sheet[4], strict=True))
    assert (first["Start weight [g]"].value, first["Start weight [g]"].number_format) == (
        12.001,
        "0.000",
    )
    assert first["Time"].value == "08:12"
    assert first["Remark"].data_type == "s"
    assert isinstance(first["ww_value"].value, float)
    assert first["ww_verdict"].value == "pass"
    assert first["ww_usable"].value is True


def test_a_workbook_keeps_its_cells_and_gets_the_columns(tmp_path, capsys):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Bench"
    rows = list(csv.reader(StringIO(EXPORT.read_text("utf-8")), delimiter=";"))
    for row in rows[:8]:
        sheet.append([_number(text) for text in row])
    for row in range(4, 9):
        day, clock = (sheet.cell(row, column) for column in (3, 4))
        # A date that is shown without its year, and a time of day with seconds.
        day.value, day.number_format = datetime.strptime(day.value, "%d.%m.%Y"), "dd/mm"  # noqa: DTZ007
        clock.value, clock.number_format = time_of_day.fromisoformat(clock.value), "h:mm:ss"
    sheet["L4"] = "=not a formula"
    sheet["L4"].data_type = "s"
    sheet["I4"].number_format = "0.000"
    sheet.row_dimensions[5].hidden = True
    sheet.column_dimensions["E"].hidden = True
    book.save(tmp_path / "in.xlsx")
    assert evaluate(tmp_path / "in.xlsx", "-o", tmp_path / "out.xlsx") == 0
    said = "sheet 'Bench': read like the others: 1 hidden row and 1 hidden column"
    assert f"note: {said}\n" in capsys.readouterr().err
    out = openpyxl.load_workbook(tmp_path / "out.xlsx")["Bench"]
    assert out["L4"].value == "=not a formula"
    assert out["L4"].data_type == "s"
    assert (out["I4"].value, out["I4"].number_format) == (12.001, "0.000")
    assert (out["C4"].value, out["C4"].number_format) == (sheet["C4"].value, "dd/mm")
    assert (out["D4"].value, out["D4"].number_format) == (sheet["D4"].value, "h:mm:ss")
    assert out["A1"].value == "Kestrel Mill Foods (invented)"
    assert [n for n in range(1, 10) if out.row_dimensions[n].hidden] == [5]
    assert out.column_dimensions["E"].hidden
    names = [cell.value for cell in out[3]][12:]
    assert names[0] == "ww_outcome"
    # The same readings as in the CSV file, so the same verdicts and values.
    evaluate(first_rows(5, tmp_path), "-o", tmp_path / "same.csv", "--quiet")
    same = list(csv.DictReader(_table(tmp_path / "same.csv"), delimiter=";"))
    for number, expected in enumerate(same, start=4):
        found = dict(zip(names, (cell.value for cell in out[number][12:]), strict=True))
        assert found["ww_verdict"] == expected["ww_verdict"]
        assert found["ww_usable"] is (expected["ww_usable"] == "true")
        assert found["ww_value"] == float(expected["ww_value"].replace(",", "."))


@pytest.mark.parametrize("form", ["csv", "xlsx", "ndjson"])
def test_cells_beside_the_table_of_a_workbook_are_told(tmp_path, capsys, form):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Bench"
    rows = list(csv.reader(StringIO(EXPORT.read_text("utf-8")), delimiter=";"))
    for row in rows[:12]:
        sheet.append([_number(text) for text in row])
    # Above the table it is a title's; blanks are nothing; the table ends with column L.
    sheet["P1"], sheet["N4"] = "Printed 2026-03-31", "  "
    book.save(tmp_path / "in.xlsx")
    assert evaluate(tmp_path / "in.xlsx", "-o", tmp_path / f"out.{form}") == 0
    assert "right of the table" not in capsys.readouterr().err
    sheet["N6"], sheet["O10"] = 10.5, "not this one"
    book.save(tmp_path / "in.xlsx")
    assert evaluate(tmp_path / "in.xlsx", "-o", tmp_path / f"out.{form}") == 0
    said = "sheet 'Bench': 2 rows have cells right of the table, which were not read: 6, 10"
    assert f"note: {said}\n" in capsys.readouterr().err


def _number(text):
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


def test_a_draft_names_the_columns(tmp_path, capsys):
    assert main(["mapping", "draft", str(EXPORT), "-o", str(tmp_path / "m.toml")]) == 0
    text = (tmp_path / "m.toml").read_text("utf-8")
    assert '"initial.indication" = "Start weight [g]"' in text
    assert "# doubt" in text
    assert "doubts" in capsys.readouterr().err


def test_a_draft_never_goes_over_a_mapping_unless_told(tmp_path, capsys):
    out = tmp_path / "harbour.toml"
    out.write_bytes(MAPPING.read_bytes())
    command = ["mapping", "draft", str(EXPORT), "-o", str(out)]
    assert main(command) == 2
    assert f"{out}: it is there already" in capsys.readouterr().err
    assert out.read_bytes() == MAPPING.read_bytes()
    assert main([*command, "--replace"]) == 0
    assert "# doubt" in out.read_text("utf-8")
    # In an empty file nothing can be lost.
    out.write_bytes(b"")
    assert main(command) == 0


def _of_session(leader):
    """Processes that the one with this id has started, and that live."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text("latin-1").rpartition(")")[2].split()
        except OSError:
            continue
        if fields[3] == str(leader) and fields[0] != "Z":
            found.append(stat.parent.name)
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
def test_killed_half_way_and_run_again(tmp_path):
    # Large enough for four pieces of 2 MiB.
    path = tmp_path / "large.csv"
    lines = EXPORT.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:3]) + b"".join(lines[3:]) * 2600)
    command = [sys.executable, "-m", "weighworthy.cli", "evaluate", path, "--mapping", MAPPING]
    whole, out = tmp_path / "whole.csv", tmp_path / "out.csv"
    subprocess.run([*command, "-o", whole], check=False, capture_output=True)
    running = subprocess.Popen([*command, "-o", out], start_new_session=True)
    journal = tmp_path / "out.csv.journal"
    deadline = time.monotonic() + 300
    while not list(journal.glob("part-*.json")) and time.monotonic() < deadline:
        assert running.poll() is None
        time.sleep(0.02)
    # Not its helpers: they have to notice by themselves.
    running.kill()
    running.wait()
    while _of_session(running.pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert _of_session(running.pid) == []
    done = {note: note.stat().st_mtime_ns for note in journal.glob("part-*.json")}
    assert done
    assert not out.exists()
    again = subprocess.run([*command, "-o", out], check=False, capture_output=True, text=True)
    assert f"({len(done)} of " in again.stderr
    assert out.read_bytes() == whole.read_bytes()
    assert not journal.exists()
