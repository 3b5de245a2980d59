"""Names that a mapping has and a table has not: told where the mapping says them."""

import io

import pytest

from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.tables.disagreement import mapping_errors
from weighworthy_service.tables.mapping_reading import parse_mapping
from weighworthy_service.tables.reading import open_cells, open_csv

MAPPING = """
check = { column = "Test", values = { "Loss" = "simulated-loss" } }
[table]
delimiter = ";"
[columns]
instrument = "Balance"
performed_at = { columns = ["Date", "Time"], format = "%d.%m.%Y %H:%M" }
"initial.indication" = "Start [g]"
"final.indication" = { column = "End", unit = "g" }
"labels.end" = "End"
[constants]
weights.A10 = { nominal = "10 g", weight_class = "OIML F1" }
initial.load = ["A10"]
final.load = ["A10"]
[instruments.MA-07]
scale_interval = "1 mg"
"""
POINTS = """
check = "linearity"
[columns]
"points.load" = { column = "Load", values = { "10" = ["A10"] } }
"points.indication" = "Reading [g]"
[constants]
instrument = { scale_interval = "1 mg" }
weights.A10 = { nominal = "10 g", weight_class = "OIML F1" }
[gather]
by = ["Day", "Run"]
order = "Point"
"""


def disagreement(mapping: str, table: str):
    read = parse_mapping(mapping.encode())
    with pytest.raises(TableNotUsable) as caught:
        open_csv(io.BytesIO(table.encode()), read.table, read.wanted)
    return [(e.pointer, e.code, e.detail) for e in mapping_errors(caught.value, read)]


def places(errors):
    return [(place, code) for place, code, _ in errors]


def test_every_place_that_names_a_missing_column_is_told_with_its_line():
    errors = disagreement(MAPPING, "Balance;Date;Hour;Start [g];Result;Kind\nMA-07;1;2;3;4;5\n")
    assert places(errors) == [
        ("/columns/performed_at/columns/1", "column-missing"),
        ("/columns/final.indication/column", "column-missing"),
        ("/columns/labels.end", "column-missing"),
        ("/check/column", "column-missing"),
    ]
    assert [detail.partition(":")[0] for _, _, detail in errors] == [
        "line 7",
        "line 9",
        "line 10",
        "line 2",
    ]


def test_the_first_fault_lists_the_columns_that_are_there():
    first, *others = disagreement(MAPPING, "Balance;Date;;Start [g];End;Result\nMA-07;1;2;3;4;5\n")
    assert "the columns are 'Balance', 'Date', 'Start [g]', 'End', 'Result'" in first[2]
    assert not any("the columns are" in detail for _, _, detail in others)


def test_a_long_list_of_columns_is_cut():
    header = ";".join(["Balance", *(f"C{number:03}" + "x" * 100 for number in range(200))])
    [first, *_] = disagreement(MAPPING, f"{header}\n" + ";".join("1" * 201) + "\n")
    assert len(first[2]) < 3_000
    assert "and 151 more" in first[2]


def test_columns_of_gathering_have_places_too():
    errors = disagreement(POINTS, "Day;Load;Reading [g];No\n1;10;10.0;1\n")
    assert places(errors) == [
        ("/gather/by/1", "column-missing"),
        ("/gather/order", "column-missing"),
    ]


def test_a_name_that_is_there_twice_and_a_place_beyond_the_table():
    table = "Test;Balance;Date;Time;Start [g];End;End\n1;2;3;4;5;6;7\n"
    twice = disagreement(MAPPING, table)
    assert places(twice) == [
        ("/columns/final.indication/column", "column-twice"),
        ("/columns/labels.end", "column-twice"),
    ]
    assert '"#6" or "#7"' in twice[0][2]
    beyond = disagreement(
        MAPPING.replace('"labels.end" = "End"', '"labels.end" = "#9"'),
        table.replace("End;End", "End;Z"),
    )
    assert places(beyond) == [("/columns/labels.end", "column-missing")]


def test_where_no_row_holds_any_of_the_names_all_columns_are_meant():
    [(place, code, detail)] = disagreement(MAPPING, "A;B;C\n1;2;3\n")
    assert (place, code) == ("/columns", "header-not-found")
    assert "row 1 has 'A', 'B', 'C'" in detail


def test_names_of_columns_in_a_table_without_header():
    mapping = MAPPING.replace('";"', '";"\nheader_row = 0')
    errors = disagreement(mapping, "1;2;3\n")
    assert places(errors)[:2] == [
        ("/columns/instrument", "column-missing"),
        ("/columns/performed_at/columns/0", "column-missing"),
    ]


def test_a_sheet_that_is_not_there():
    mapping = parse_mapping(MAPPING.replace('";"', '";"\nsheet = "Checks"').encode())
    with pytest.raises(TableNotUsable) as caught:
        open_cells(io.BytesIO(b'["Data", 1, ["Balance"]]\n'), mapping.table, mapping.wanted)
    [error] = mapping_errors(caught.value, mapping)
    assert (error.pointer, error.code) == ("/table/sheet", "sheet-not-found")
    assert "'Data'" in error.detail


@pytest.mark.parametrize("table", ["", "a\0b", "sep=#\nA;B\n"])
def test_what_cannot_be_read_at_all_is_no_fault_of_the_mapping(table):
    assert disagreement(MAPPING.replace('delimiter = ";"', ""), table) == []


def test_a_name_with_blanks_around_it_is_found_in_the_mapping():
    errors = disagreement(
        MAPPING.replace('"Balance"', '" Balnce "'), "Test;Balance;Date;Time\n1;2;3;4\n"
    )
    assert places(errors)[0] == ("/columns/instrument", "column-missing")
    assert "did you mean 'Balance'" in errors[0][2]


def test_the_column_of_rows_to_be_skipped_has_a_place_too():
    skipping = POINTS.replace(
        "[gather]", '[table]\nskip = { column = "Sample", texts = ["SD"] }\n[gather]'
    )
    errors = disagreement(skipping, "Run;Day;Load;Reading [g];No\n1;1;10;10.0;1\n")
    assert ("/table/skip/column", "column-missing") in places(errors)
