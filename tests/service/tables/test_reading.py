"""Every hazard of a table as a small file made here; the organisation in them is invented."""

import io
import json
import tracemalloc

import pytest

from weighworthy_service.tables.cells import (
    BadRow,
    NumberCell,
    SkippedRow,
    TableNotUsable,
)
from weighworthy_service.tables.reading import open_cells, open_csv
from weighworthy_service.tables.table_section import SkipRows, TableLimits, TableSection

WANTED = ["Date", "Start weight [g]", "End weight [g]"]
NUMBERS = WANTED[1:]
HEADER = "Date;Start weight [g];End weight [g];Note\r\n"
ROW = "1.3.2026;12,0034;7,5021;fine\r\n"


def opened(text: str | bytes, section: TableSection | None = None, **more):
    data = text if isinstance(text, bytes) else text.encode()
    more.setdefault("wanted", WANTED)
    more.setdefault("numbers", [name for name in NUMBERS if name in more["wanted"]])
    table = open_csv(io.BytesIO(data), section or TableSection(), **more)
    rows = list(table.rows())
    assert table.count == len(rows)
    return table, rows


def faults(text: str | bytes, section: TableSection | None = None, **more):
    with pytest.raises(TableNotUsable) as caught:
        opened(text, section, **more)
    return caught.value.errors


def outline(rows):
    said = []
    for row in rows:
        if isinstance(row, SkippedRow):
            said.append((row.number, row.reason))
        elif isinstance(row, BadRow):
            said.append((row.number, row.code))
        else:
            said.append((row[1], row[2][0]))
    return said


def test_a_plain_table_says_how_it_was_read():
    table, rows = opened(HEADER + ROW)
    assert rows == [(None, 2, ["1.3.2026", "12,0034", "7,5021", "fine"])]
    assert table.read_as == {
        "encoding": "utf-8",
        "delimiter": ";",
        "decimal": ",",
        "thousands": None,
        "header_row": 1,
        "sheet": None,
        "stated": [],
        "assumed": [],
    }
    assert table.header == ("Date", "Start weight [g]", "End weight [g]", "Note")
    assert dict(table.columns) == {"Date": 0, "Start weight [g]": 1, "End weight [g]": 2}
    assert (table.marks.decimal, table.marks.thousands) == (",", None)


def test_the_rows_can_be_read_again():
    table, rows = opened(HEADER + ROW * 3)
    assert list(table.rows()) == rows
    started = table.rows()
    next(started)
    started.close()
    assert list(table.rows()) == rows


def test_what_the_mapping_states_is_taken_and_told():
    section = TableSection(
        encoding="cp1252", delimiter=";", decimal=".", thousands=",", header_row=1
    )
    table, _ = opened("Date;Start weight [g];End weight [g]\n1;1,234.5;7\n", section)
    assert table.read_as["stated"] == [
        "encoding",
        "delimiter",
        "decimal",
        "thousands",
        "header_row",
    ]
    assert (table.marks.decimal, table.marks.thousands) == (".", ",")


def test_title_blank_and_repeated_header_rows_and_what_is_behind_the_end_are_skipped():
    text = (
        "Kestrel Mill Foods;;;\r\n\r\nharbour;;;\r\n"
        + HEADER
        + ROW
        + ";;;\r\n"
        + HEADER
        + ROW
        + " \r\n"
        + "total;;;\r\n"
        + ROW
    )
    table, rows = opened(text, TableSection(stop_at="Total"))
    assert table.read_as["header_row"] == 4
    assert outline(rows) == [
        (1, "title"),
        (2, "blank"),
        (3, "title"),
        (5, "1.3.2026"),
        (6, "blank"),
        (7, "header"),
        (8, "1.3.2026"),
        (9, "blank"),
        (10, "after-end"),
        (11, "after-end"),
    ]


def test_a_line_that_names_the_delimiter_is_no_row():
    table, rows = opened("sep=;\r\n" + HEADER + ROW)
    assert table.read_as["delimiter"] == ";"
    assert outline(rows) == [(2, "1.3.2026")]
    assert [fault.code for fault in faults("sep=#\r\n" + HEADER + ROW)] == ["delimiter-unclear"]


@pytest.mark.parametrize("mark", [";", ",", "\t", "|"])
def test_the_delimiter_is_the_one_under_which_the_header_is_found(mark):
    text = (HEADER + "1.3.2026;12.0034;7.5021;a, b and c\r\n" * 3).replace(";", mark)
    if mark == ",":
        text = text.replace("a, b and c", '"a, b and c"')
    table, rows = opened(text)
    assert table.read_as["delimiter"] == mark
    assert rows[0][2] == ["1.3.2026", "12.0034", "7.5021", "a, b and c"]


def test_decimal_commas_do_not_pass_for_delimiters():
    table, _ = opened("Start;End\n10,0;10,1\n10,0;10,2\n", wanted=["Start", "End"], numbers=["End"])
    assert (table.read_as["delimiter"], table.read_as["decimal"]) == (";", ",")


def test_two_delimiters_that_fit_equally_are_asked_about():
    [fault] = faults("a;b|c;d\n1;2|3;4\n", wanted=[])
    assert fault.code == "delimiter-unclear"


def test_a_single_column():
    table, rows = opened("Loss [%]\n12,5\n13,5\n", wanted=["Loss [%]"], numbers=["Loss [%]"])
    assert [row[2] for row in rows] == [["12,5"], ["13,5"]]
    assert table.read_as["assumed"] == ["delimiter"]


def test_windows_1252_is_assumed_and_told():
    table, rows = opened("Gerät;Start\nWaage Süd;12,5\n".encode("cp1252"), wanted=["Gerät"])
    assert rows[0][2][0] == "Waage Süd"
    assert (table.read_as["encoding"], table.read_as["assumed"][0]) == ("cp1252", "encoding")


def test_utf_16_with_its_mark():
    table, rows = opened((HEADER + ROW).replace(";", "\t").encode("utf-16"))
    assert (table.read_as["encoding"], table.read_as["delimiter"]) == ("utf-16-le", "\t")
    assert outline(rows) == [(2, "1.3.2026")]


def test_two_faced_numbers_are_asked_about_and_a_statement_settles_it():
    text = "Date;Start weight [g];End weight [g]\n1;12,003;7,502\n"
    [fault] = faults(text)
    assert (fault.code, fault.row, fault.cell) == ("decimal-ambiguous", 2, "12,003")
    table, _ = opened(text, TableSection(decimal=","))
    assert table.marks.decimal == ","
    table, _ = opened(text, TableSection(thousands="."))
    assert table.marks.decimal == ","


def test_whole_numbers_leave_the_mark_assumed():
    table, _ = opened("Date;Start weight [g];End weight [g]\n1;12;7\n")
    assert (table.read_as["decimal"], table.read_as["assumed"]) == (".", ["decimal"])


def test_one_mark_cannot_be_stated_for_both():
    [fault] = faults(HEADER + ROW, TableSection(decimal=",", thousands=","))
    assert fault.code == "decimal-ambiguous"


def test_columns_that_are_missing_are_all_named():
    errors = faults("Date;Start wt [g];Note\n1.3.2026;12,5;x\n")
    assert {(fault.code, fault.column) for fault in errors} == {
        ("column-missing", "Start weight [g]"),
        ("column-missing", "End weight [g]"),
    }
    stated = faults("Date;Start weight [g];Note\n1;2;3\n", TableSection(header_row=1))
    assert [(fault.code, fault.column) for fault in stated] == [("column-missing", WANTED[2])]


@pytest.mark.parametrize(
    ("number", "code", "row"),
    [
        (2, "column-missing", 2),
        (3, "header-not-found", 3),
        (900, "header-not-found", 900),
    ],
)
def test_a_stated_header_row_that_is_none_is_told_with_its_number(number, code, row):
    # The names stand in row 1; which delimiter is meant, nobody has said.
    found = faults(HEADER + ROW + "\n", TableSection(header_row=number))
    assert {(fault.code, fault.row) for fault in found} == {(code, row)}


def test_one_column_without_header():
    section = TableSection(header_row=0)
    table, rows = opened("12\n13\n", section, wanted=["#1"], numbers=[])
    assert [row[2] for row in rows] == [["12"], ["13"]]
    assert table.read_as["assumed"] == ["delimiter", "decimal"]
    assert [(fault.code, fault.column) for fault in faults("12\n", section, wanted=["Date"])] == [
        ("column-missing", "Date")
    ]
    for text in ("\n\n\n", "1;2\n\n3\n4;5;6\n"):
        assert faults(text, section, wanted=["Date"])


def test_a_place_beyond_a_table_without_header():
    found = faults("1;2;3\n4;5;6\n", TableSection(header_row=0), wanted=["#9", "#10"])
    assert [(fault.code, fault.column) for fault in found] == [
        ("column-missing", "#9"),
        ("column-missing", "#10"),
    ]
    assert "the table has 3" in found[0].detail


def test_a_header_too_far_down_is_not_looked_for():
    assert faults("x;y;z\n" * 30 + HEADER + ROW)[0].code == "header-not-found"
    table, _ = opened("x;y;z;\n" * 30 + HEADER + ROW, TableSection(header_row=31))
    assert table.read_as["header_row"] == 31


@pytest.mark.parametrize("delimiter", [None, ";"])
def test_a_header_too_far_down_says_how_far_was_looked(delimiter):
    section = TableSection(delimiter=delimiter)
    [fault] = faults("a note without marks\n" * 39 + HEADER + ROW, section)
    assert "first 30 rows" in fault.detail
    assert "`header_row`" in fault.detail


@pytest.mark.parametrize("delimiter", [None, ";"])
@pytest.mark.parametrize("titles", ["", "Kestrel Mill Foods\r\n"])
def test_a_header_of_too_many_columns_says_so(delimiter, titles):
    wide = HEADER.rstrip() + "".join(f";c{number}" for number in range(10_000)) + "\r\n"
    section = TableSection(delimiter=delimiter)
    for wanted in (WANTED, ()):
        [fault] = faults(
            titles + wide + (ROW.rstrip() + ";1" * 10_000 + "\n") * 3, section, wanted=wanted
        )
        assert fault.code == "too-many-columns"
        assert "500" in fault.detail
        assert fault.row == (2 if titles else 1)


def test_a_table_without_header():
    section = TableSection(header_row=0)
    # A comma and a semicolon both make two cells of it, and no name tells which is meant.
    assert faults("1.3.2026;12,0034\n", section, wanted=["#2"])[0].code == "delimiter-unclear"
    section = TableSection(header_row=0, delimiter=";")
    table, rows = opened("1.3.2026;12,0034\n", section, wanted=["#2"], numbers=["#2"])
    assert (table.header, dict(table.columns), table.count) == (("#1", "#2"), {"#2": 1}, 1)
    assert outline(rows) == [(1, "1.3.2026")]
    assert faults("1;2\n", section, wanted=["Date"])[0].code == "column-missing"
    assert faults("1;2\n", wanted=["#2"])[0].code == "header-not-found"


def test_short_rows_are_filled_and_long_ones_are_bad_if_anything_is_beyond():
    _, rows = opened(HEADER + "1.3.2026;12,5\r\n" + "2.3.2026;1,5;2,5;x;;\r\n" + "3;1,5;2;x;;y\r\n")
    assert rows[0][2] == ["1.3.2026", "12,5", "", ""]
    assert rows[1][2] == ["2.3.2026", "1,5", "2,5", "x"]
    assert outline(rows)[2] == (4, "too-many-cells")
    assert rows[2].cells == ["3", "1,5", "2", "x", "", "y"]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        # End weight 7.503 g with a comma, and no note: read as 7 g it would be judged.
        ("1.3.2026,12.0034,7,503,", "too-many-cells"),
        ("1.3.2026,12,0034,7.503,", "too-many-cells"),
        ("1.3.2026,-12,0034,7.503,,", "too-many-cells"),
        # Both may be whole: nothing in the row tells.
        ("1.3.2026,12,7,fine,", "too-many-cells"),
        ("1.3.2026,12,7,fine", "1.3.2026"),
        ("1.3.2026,12.0034,7.503,fine,", "1.3.2026"),
        ("1.3.2026,12,7.503,,,", "1.3.2026"),
        ("1.3.2026,12.0034,7.503,3,", "1.3.2026"),
        ("1.3.2026,12.0034,7,,", "1.3.2026"),
        ("1.3.2026;12;7;fine;", "1.3.2026"),
    ],
)
def test_a_number_that_its_own_comma_may_have_parted_is_not_read_by_halves(row, told):
    delimiter = ";" if ";" in row else ","
    mark = TableSection(delimiter=delimiter, decimal=".")
    _, rows = opened(HEADER.replace(";", delimiter) + row + "\r\n", mark)
    assert outline(rows) == [(2, told)]


def test_a_row_that_stands_in_quotation_marks_as_a_whole_is_told_as_such():
    whole = '"1.3.2026;12,0034;7,5021;said ""fine"""\r\n'
    note = "See sheet 2, page 4, line 1\r\n"
    _, rows = opened(HEADER + ROW + whole + ROW + note)
    assert outline(rows)[:3] == [(2, "1.3.2026"), (3, "row-in-quotes"), (4, "1.3.2026")]
    assert rows[1].text == '1.3.2026;12,0034;7,5021;said "fine"'
    assert rows[1].cells == [rows[1].text]
    # A remark below the table is none.
    assert rows[3][2] == [note.strip(), "", "", ""]
    _, rows = opened("Date\r\n" + '"1.3.2026"\r\n', TableSection(delimiter=";"), wanted=["Date"])
    assert [row[2] for row in rows] == [["1.3.2026"]]


def test_a_quote_that_is_never_closed_at_row_90000_costs_that_row():
    text = HEADER + ROW * 89_998 + '1.3.2026;"12,0034;7,5021;fine\r\n' + ROW * 10_000
    table, rows = opened(text)
    assert table.count == 99_999
    assert [(row.number, row.code) for row in rows if isinstance(row, BadRow)] == [
        (90_000, "quote-unclosed")
    ]


def test_a_row_of_ten_thousand_columns_costs_that_row():
    _, rows = opened(HEADER + ROW + "x;" * 9_999 + "x\r\n" + ROW)
    assert outline(rows) == [(2, "1.3.2026"), (3, "too-many-columns"), (4, "1.3.2026")]


def test_a_line_of_two_mebibytes_costs_that_row():
    _, rows = opened(HEADER + ROW + "x" * (2 << 20) + "\r\n" + ROW)
    assert outline(rows) == [(2, "1.3.2026"), (3, "line-too-long"), (4, "1.3.2026")]


def test_too_many_rows_are_refused_before_the_first():
    limits = TableLimits(rows=10)
    assert faults(HEADER + ROW * 10, limits=limits)[0].code == "too-many-rows"
    assert faults(HEADER + ROW * 9 + 'a;"b"\n', limits=limits)[0].code == "too-many-rows"
    assert opened(HEADER + ROW * 9, limits=limits)[0].count == 9


def test_a_piece_of_a_longer_table_goes_on_counting():
    _, rows = opened("Kestrel;;;\r\n" + HEADER + ROW + ROW, first_row=501)
    assert outline(rows) == [(499, "title"), (501, "1.3.2026"), (502, "1.3.2026")]
    table, rows = opened(HEADER + ROW, first_row=1)
    assert (table.read_as["header_row"], outline(rows)) == (1, [(2, "1.3.2026")])
    section = TableSection(header_row=0)
    _, rows = opened("1;2\n3;4\n", section, wanted=["#1"], first_row=10)
    assert outline(rows) == [(10, "1"), (11, "3")]


def test_without_wanted_names_the_shape_decides():
    table, _ = opened("Kestrel Mill Foods\n\n" + HEADER + ROW * 5, wanted=[])
    assert table.read_as["header_row"] == 3
    assert "header_row" in table.read_as["assumed"]
    assert faults("1;2\n3;4\n", wanted=[])[0].code == "header-not-found"


def test_reading_holds_no_more_of_a_long_table_than_of_a_short_one():
    def peak(rows: int) -> int:
        data = io.BytesIO((HEADER + ROW.replace("fine", "fine " * 100) * rows).encode())
        tracemalloc.start()
        for _ in open_csv(data, TableSection(), WANTED, numbers=NUMBERS).rows():
            pass
        highest = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return highest

    # The first pass takes pieces of a mebibyte, so both tables are longer than two of them.
    assert peak(20_000) < 1.1 * peak(5_000)


def cells(*rows) -> io.BytesIO:
    return io.BytesIO("".join(json.dumps(row) + "\n" for row in rows).encode())


TOP = ["Data", 1, ["Date", "Start weight [g]", "End weight [g]"]]
FIRST = ["Data", 2, [{"t": "2026-03-01T08:15:00"}, {"n": "12.0034", "format": "0.0000"}, "7,5"]]


def test_typed_cells_are_framed_like_a_csv_file():
    file = cells(
        ["Info", 1, ["Kestrel Mill Foods"]],
        ["Data", 1, ["harbour"]],
        ["Data", 3, TOP[2]],
        ["Data", 4, FIRST[2]],
        ["Data", 5, [None, "", None]],
        ["Data", 6, ["x"]],
    )
    table = open_cells(file, TableSection(), WANTED, numbers=NUMBERS)
    rows = list(table.rows())
    assert table.count == len(rows) == 5
    assert rows[0] == SkippedRow("Info", 1, "other-sheet", ["Kestrel Mill Foods"])
    assert rows[1] == SkippedRow("Data", 1, "title", ["harbour"])
    assert rows[2][:2] == ("Data", 4)
    assert rows[2][2][1] == NumberCell("12.0034", "0.0000")
    assert rows[3].reason == "blank"
    assert rows[4] == ("Data", 6, ["x", None, None])
    assert table.read_as["sheet"] == "Data"
    # The one number written as text decides; stored numbers have no mark.
    assert table.read_as["decimal"] == ","


def test_what_stands_beside_a_table_in_a_workbook_does_not_keep_its_rows_from_being_read():
    file = cells(
        TOP,
        FIRST,
        ["Data", 3, [*FIRST[2], None, "checked by K. Miller"]],
        # The last column and the last row that a workbook may have.
        ["Data", 4, [*FIRST[2], *[None] * 16_380, "x"]],
        ["Data", 1_048_576, [*[None] * 16_383, "x"]],
    )
    rows = list(open_cells(file, TableSection(), WANTED).rows())
    assert [len(row[2]) for row in rows[:3]] == [3, 3, 3]
    assert (rows[3].number, rows[3].reason) == (1_048_576, "blank")


def test_a_header_that_goes_too_far_in_a_workbook_names_its_last_cell():
    assert (
        len(
            list(
                open_cells(
                    cells(["Data", 1, [*TOP[2], *[None] * 900]]), TableSection(), WANTED
                ).rows()
            )
        )
        == 0
    )
    with pytest.raises(TableNotUsable) as caught:
        open_cells(cells(["Data", 1, [*TOP[2], *[None] * 16_380, "x"]]), TableSection(), WANTED)
    [fault] = caught.value.errors
    assert (fault.code, fault.row) == ("too-many-columns", 1)
    assert "XFD1" in fault.detail
    assert "500" in fault.detail


def test_typed_cells_of_which_no_line_can_be_read_say_why():
    with pytest.raises(TableNotUsable) as caught:
        open_cells(io.BytesIO(b"Date;Start\n1;2\n"), TableSection(), WANTED)
    assert "line 1: the line is not valid JSON" in caught.value.errors[0].detail


def test_bytes_of_typed_cells_that_are_no_text_are_not_laid_to_the_mapping():
    with pytest.raises(TableNotUsable) as caught:
        open_cells(io.BytesIO(b"\xff\xff"), TableSection(), WANTED)
    assert "the mapping" not in caught.value.errors[0].detail


def test_a_table_on_two_sheets_is_asked_about():
    file = cells(TOP, FIRST, ["More", 1, TOP[2]], ["More", 2, FIRST[2]])
    with pytest.raises(TableNotUsable) as caught:
        open_cells(file, TableSection(), WANTED)
    assert caught.value.errors[0].code == "sheet-unclear"
    table = open_cells(file, TableSection(sheet="More"), WANTED)
    assert [row.reason for row in table.rows() if isinstance(row, SkippedRow)] == [
        "other-sheet",
        "other-sheet",
    ]
    with pytest.raises(TableNotUsable) as missing:
        open_cells(file, TableSection(sheet="None"), WANTED)
    assert missing.value.errors[0].code == "sheet-not-found"


def test_a_line_of_typed_cells_that_is_broken_is_a_bad_row():
    file = io.BytesIO(cells(TOP, FIRST).getvalue() + b"[broken\n")
    rows = list(open_cells(file, TableSection(), WANTED).rows())
    assert (rows[1].number, rows[1].code) == (3, "cells-malformed")


@pytest.mark.parametrize(
    ("data", "code"),
    [(b"", "table-empty"), (b"[broken\n", "table-empty"), (b"\xff\xff", "encoding-not-utf-8")],
)
def test_typed_cells_that_are_none(data, code):
    with pytest.raises(TableNotUsable) as caught:
        open_cells(io.BytesIO(data), TableSection(), WANTED)
    assert caught.value.errors[0].code == code


def test_sheets_without_end_are_refused():
    file = cells(*([f"S{number}", 1, ["x"]] for number in range(256)))
    with pytest.raises(TableNotUsable) as caught:
        open_cells(file, TableSection(), WANTED)
    assert caught.value.errors[0].code == "too-many-sheets"


def test_a_sheet_that_lacks_a_column_is_told_before_those_without_any():
    file = cells(["Info", 1, ["harbour"]], ["Data", 1, ["Date", "Start weight [g]"]])
    with pytest.raises(TableNotUsable) as caught:
        open_cells(file, TableSection(), WANTED)
    assert [(fault.code, fault.column) for fault in caught.value.errors] == [
        ("column-missing", "End weight [g]")
    ]


def test_long_sheets_one_behind_the_other_are_read_whole():
    file = cells(
        *(["Info", number, ["harbour"]] for number in range(1, 1501)),
        TOP,
        *(["Data", number, FIRST[2]] for number in range(2, 1502)),
    )
    table = open_cells(file, TableSection(), WANTED, numbers=NUMBERS)
    rows = list(table.rows())
    assert table.count == len(rows) == 3000
    assert sum(isinstance(row, tuple) for row in rows) == 1500


def test_rows_that_are_no_checks_are_skipped_by_what_a_column_has_in_them():
    section = TableSection(skip=SkipRows("Note", ("Mean", " SD")))
    text = (
        HEADER + ROW + "".join(f"1.3.2026;12,0;7,5;{note}\n" for note in ("MEAN ", "sd", "means"))
    )
    table, rows = opened(text, section, wanted=[*WANTED, "Note"])
    assert table.count == 4
    assert [getattr(row, "reason", "row") for row in rows] == ["row", "no-check", "no-check", "row"]
