"""Workbooks as they really arrive, and some that are made to do harm."""

import datetime
import json
import tracemalloc
import zipfile

import openpyxl
import pytest
from openpyxl.styles import numbers

from weighworthy import TableFileError
from weighworthy.mapping_files import open_mapping
from weighworthy.table_cells import cell_of, number_text
from weighworthy.workbook import write_cells
from weighworthy.workbook_check import check_package, is_workbook

MAPPING = open_mapping({"columns": {"initial.indication": "Start", "final.indication": "End"}})


@pytest.fixture
def saved(tmp_path):
    """Saves rows of a sheet, changed by a function, and gives the path."""

    def made(*rows, change=lambda book: None, name="export.xlsx"):
        book = openpyxl.Workbook()
        book.active.title = "Checks"
        for row in rows:
            book.active.append(row)
        change(book)
        path = tmp_path / name
        book.save(path)
        return path

    return made


@pytest.fixture
def read(tmp_path):
    def cells(path, *, mapping=MAPPING, sheet=None):
        out = tmp_path / "cells"
        with out.open("wb") as file:
            sheets = write_cells(path, file, mapping, sheet)
        return [json.loads(line) for line in out.read_text("utf-8").splitlines()], sheets

    return cells


def repacked(path, change):
    """The same archive with other parts: `change` gets names and bytes, and gives them."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in change(parts).items():
            archive.writestr(name, content)
    return path


def test_cells_keep_what_the_workbook_says_of_them(saved, read):
    def formats(book):
        sheet = book.active
        sheet["B2"].number_format = "0.0000"
        sheet["C2"].number_format = numbers.FORMAT_PERCENTAGE_00
        sheet["E2"].number_format = "dd.mm.yyyy hh:mm"

    row = ["MA-07", 12.003, 0.125, True, datetime.datetime(2026, 3, 2, 7, 30), "007", None, "x"]  # noqa: DTZ001
    lines, sheets = read(saved(["A", "Start", "End"], row, change=formats))
    assert lines == [
        ["Checks", 1, ["A", "Start", "End"]],
        [
            "Checks",
            2,
            [
                "MA-07",
                {"n": "12.003", "format": "0.0000"},
                {"n": "0.125", "format": "0.00%"},
                {"b": True},
                {"t": "2026-03-02T07:30:00", "format": "dd.mm.yyyy hh:mm"},
                "007",
                None,
                "x",
            ],
        ],
    ]
    assert sheets.widths == {"Checks": 8}
    assert sheets.notes == ()


def test_dates_of_the_1904_system(saved, read):
    def epoch(book):
        book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
        book.active["A1"] = 1
        book.active["A1"].number_format = "yyyy-mm-dd"

    # Serial number 1 of the 1904 system is 2 January 1904 (ECMA-376 part 1, 18.17.4.1).
    lines, _ = read(saved(["x"], change=epoch))
    assert lines == [["Checks", 1, [{"t": "1904-01-02T00:00:00", "format": "yyyy-mm-dd"}]]]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12, "12"),
        (12.0, "12"),
        (0.1 + 0.2, "0.3"),
        (1e-05, "0.00001"),
        (-0.5, "-0.5"),
        (1e300, None),
        (float("nan"), None),
        (float("inf"), None),
    ],
)
def test_numbers_have_their_shortest_text(value, text):
    assert number_text(value) == text


def test_what_is_no_number_is_an_error_cell():
    assert cell_of(float("nan")) == {"error": "nan"}


def test_a_duration_is_the_number_that_it_is_in_the_sheet():
    assert cell_of(datetime.timedelta(hours=36), "[h]:mm") == {"n": "1.5", "format": "[h]:mm"}


@pytest.mark.parametrize("shown", [None, "General", "0.00", "d" * 200, 'dd"\n"mm'])
def test_a_time_takes_no_format_that_does_not_show_one(shown):
    assert cell_of(datetime.time(7, 30), shown) == {"t": "07:30:00"}


def test_a_number_format_that_is_too_long_to_be_sent_costs_no_row():
    # ECMA-376 takes 255 characters; only whether it shows a percentage matters to the number.
    assert cell_of(0.5, '0.0" of the initial mass"' * 9) == {"n": "0.5"}
    assert cell_of(0.5, '0.0%" of the initial mass"' * 9) == {"n": "0.5", "format": "0.00%"}


def test_milliseconds_are_all_that_a_serial_number_is_good_for():
    at = datetime.datetime(2026, 3, 2, 7, 29, 59, 999_996)  # noqa: DTZ001
    assert cell_of(at) == {"t": "2026-03-02T07:30:00"}


def test_errors_and_formulas_without_result_are_told_apart(saved, read):
    def change(book):
        book.active["A3"] = "#N/A"
        book.active["A3"].data_type = "e"
        book.active["B3"] = "=A2-0.5"  # written without a result, as scripts do

    lines, _ = read(
        saved(["Start", "End"], [1, 2], [None, None, "x"], [None, None, "y"], change=change)
    )
    assert lines[2] == ["Checks", 3, [{"error": "#N/A"}, {"uncached": "=A2-0.5"}, "x"]]
    assert lines[3] == ["Checks", 4, [None, None, "y"]]


def test_formulas_are_looked_at_only_where_a_wanted_cell_is_empty(saved, read, monkeypatch):
    opened = []
    real = openpyxl.load_workbook
    monkeypatch.setattr(
        openpyxl, "load_workbook", lambda *a, **k: opened.append(k["data_only"]) or real(*a, **k)
    )

    def formula(book):
        book.active["C2"] = "=1+1"

    # The formula has no result, but nobody wants its column.
    lines, _ = read(saved(["Start", "End", "Sum"], [1, 2, None], change=formula))
    assert opened == [True]
    assert lines[1] == ["Checks", 2, [{"n": "1"}, {"n": "2"}]]
    # A wanted cell is empty, and there is no formula at all.
    opened.clear()
    read(saved(["Start", "End"], [1, None], name="second.xlsx"))
    assert opened == [True]
    # Both.
    opened.clear()
    read(saved(["Start", "End", "Sum"], [1, None, None], change=formula, name="third.xlsx"))
    assert opened == [True, True, False]


def test_hidden_sheets_stay_out_unless_named(saved, read):
    def hide(book):
        book.create_sheet("Old").append(["Start", "End"])
        book["Old"].sheet_state = "hidden"

    path = saved(["Start", "End"], change=hide)
    lines, sheets = read(path)
    assert {line[0] for line in lines} == {"Checks"}
    assert "'Old'" in sheets.notes[0]
    assert {line[0] for line in read(path, sheet="Old")[0]} == {"Old"}
    with pytest.raises(TableFileError, match=r"no sheet 'Oldest'; there are 'Checks', 'Old'"):
        read(path, sheet="Oldest")


def test_merged_titles_and_blank_rows_keep_the_row_numbers(saved, read):
    def merge(book):
        book.active.merge_cells("A1:C1")

    lines, _ = read(saved(["Title", None, None], [], ["Start", "End"], [1, 2], change=merge))
    assert [line[1] for line in lines] == [1, 3, 4]


def test_a_cell_at_the_far_end_costs_little(saved, read):
    def far(book):
        book.active["XFD1048576"] = "here"

    path = saved(["Start", "End"], [1, 2], change=far)
    assert path.stat().st_size < 10_000
    tracemalloc.start()
    lines, _ = read(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert [line[1] for line in lines] == [1, 2, 1_048_576]
    assert peak < 50 * 2**20


def test_a_bomb_is_not_opened(saved, tmp_path):
    path = saved(["Start", "End"], [1, 2])

    def blown(parts):
        cell = b"<row><c><v>1</v></c></row>"
        name = "xl/worksheets/sheet1.xml"
        return {**parts, name: parts[name].replace(b"</sheetData>", cell * 8_000_000)}

    repacked(path, blown)
    # 200 MiB packed into less than a MiB.
    assert path.stat().st_size < 2**20
    with pytest.raises(TableFileError, match="times its size"):
        check_package(path)


def test_entities_that_grow_are_not_followed(saved, read):
    path = saved(["Start", "End"], [1, 2])
    doctype = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'

    def entities(parts):
        name = "xl/worksheets/sheet1.xml"
        head, xml = b'<?xml version="1.0"?>', parts[name]
        xml = xml.removeprefix(head) if xml.startswith(head) else xml
        return {**parts, name: doctype + xml}

    with pytest.raises(TableFileError, match="EntitiesForbidden"):
        read(repacked(path, entities))


def test_macros_and_links_are_told_and_left_alone(saved, read):
    path = saved(["Start", "End"], [1, 2], name="export.xlsm")
    extra = {"xl/vbaProject.bin": b"x", "xl/externalLinks/externalLink1.xml": b"<x/>"}
    lines, sheets = read(repacked(path, lambda parts: {**parts, **extra}))
    assert len(lines) == 2
    assert [note.split(";")[0] for note in sheets.notes] == [
        "the workbook has macros",
        "the workbook refers to other workbooks",
    ]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a;b\n1;2\n", "not a workbook, whatever its name says"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "an old or an encrypted workbook"),
        (b"PK\x03\x04rest", "damaged"),
        (b"", "not a workbook"),
    ],
)
def test_what_is_no_workbook_is_told(tmp_path, content, said):
    path = tmp_path / "export.xlsx"
    path.write_bytes(content)
    assert is_workbook(path)
    with pytest.raises(TableFileError, match=said):
        check_package(path)


def test_other_archives_are_told(saved, tmp_path):
    path = saved(["a"])
    with pytest.raises(TableFileError, match="not a workbook"):
        check_package(repacked(path, lambda parts: {"a.txt": b"x"}))
    with pytest.raises(TableFileError, match="OpenDocument"):
        check_package(repacked(path, lambda parts: {"mimetype": b"x", "content.xml": b"x"}))


def test_a_workbook_by_another_name_is_one(saved):
    assert is_workbook(saved(["a"], name="export.csv"))


def test_a_damaged_sheet_is_told(saved, read):
    path = saved(["Start", "End"], [1, 2])
    name = "xl/worksheets/sheet1.xml"
    with pytest.raises(TableFileError, match="cannot be read"):
        read(repacked(path, lambda parts: {**parts, name: parts[name][:-40]}))


@pytest.mark.parametrize("again", [False, True])
def test_rows_that_do_not_stand_in_their_order_are_told(saved, read, again):
    """The library passes over a row whose number is not higher than that of the row above."""
    path = saved(["Start", "End"], [12.001, 10], [12.002, 10], [12.003, 10])
    name = "xl/worksheets/sheet1.xml"

    def moved(parts):
        text = parts[name]
        at = [text.index(b'<row r="%d"' % number) for number in (2, 3, 4)]
        second, third = text[at[0] : at[1]], text[at[1] : at[2]]
        rows = second + third + third if again else third + second
        return {**parts, name: text[: at[0]] + rows + text[at[2] :]}

    said = r"sheet 'Checks': row 3 .*row 3" if again else r"sheet 'Checks': row 2 .*row 3"
    with pytest.raises(TableFileError, match=said):
        read(repacked(path, moved))


def test_cells_that_do_not_stand_in_the_order_of_their_columns_are_told(saved, read):
    """The library makes a row as wide as its last cell says, and drops what lies right of that."""
    path = saved(["Start", "End", "Note"], [12.001, 10, 3])
    name = "xl/worksheets/sheet1.xml"

    def moved(parts):
        text = parts[name]
        first, last = (text.index(b'<c r="%s"' % cell) for cell in (b"A2", b"C2"))
        end = text.index(b"</row>", last)
        turned = text[last:end] + text[first:last]
        return {**parts, name: text[:first] + turned + text[end:]}

    with pytest.raises(TableFileError, match=r"sheet 'Checks', row 2: .* order of their columns"):
        read(repacked(path, moved))
