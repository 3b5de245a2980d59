import json

import pytest

from weighworthy_service.tables.cells import (
    BadRow,
    ErrorCell,
    NumberCell,
    TableNotUsable,
    TimeCell,
    UncachedCell,
)
from weighworthy_service.tables.table_section import TableLimits
from weighworthy_service.tables.typed_cells import typed_rows

LIMITS = TableLimits(rows=100, columns=10, cell=100, line=400)


def read(*lines: str):
    return list(typed_rows(iter(line + "\n" for line in lines), LIMITS))


def test_every_form_of_cell():
    cells = [
        None,
        "text",
        {"n": "12.003", "format": "0.000"},
        {"format": "0.000", "n": "12.003"},
        {"n": "12"},
        {"t": "2026-03-04T08:15:00"},
        {"format": "dd.mm.yyyy", "t": "2026-03-04"},
        {"b": False},
        {"error": "#N/A"},
        {"uncached": "=C3-D3"},
    ]
    assert read(json.dumps(["Data", 7, cells])) == [
        (
            "Data",
            7,
            [
                None,
                "text",
                NumberCell("12.003", "0.000"),
                NumberCell("12.003", "0.000"),
                NumberCell("12", "General"),
                TimeCell("2026-03-04T08:15:00"),
                TimeCell("2026-03-04"),
                False,
                ErrorCell("#N/A"),
                UncachedCell("=C3-D3"),
            ],
        )
    ]


def test_how_a_time_is_shown_is_no_part_of_it():
    cells = [{"t": "08:15:00", "format": "hh:mm"}, {"t": "08:15:00"}]
    [(_, _, [shown, plain])] = read(json.dumps(["Data", 1, cells]))
    assert shown == plain == TimeCell("08:15:00")


@pytest.mark.parametrize(
    "line",
    [
        "",
        "x",
        "{}",
        "null",
        "[]",
        '["Data", 2]',
        '["Data", 2, [], 1]',
        "[null, 2, []]",
        '["", 2, []]',
        '["Data", 0, []]',
        '["Data", 1, []]',
        '["Data", true, []]',
        '["Data", 2.0, []]',
        '["Data", "2", []]',
        '["Data", 2, {}]',
        '["Data", 2, [12.003]]',
        '["Data", 2, [12]]',
        '["Data", 2, [[]]]',
        '["Data", 2, [NaN]]',
        '["Data", 2, [{}]]',
        '["Data", 2, [{"n": 12.003}]]',
        '["Data", 2, [{"n": "1", "n": "2"}]]',
        '["Data", 2, [{"n": "1", "format": "0", "x": "y"}]]',
        '["Data", 2, [{"b": "true"}]]',
        '["Data", 2, [{"t": {"t": "x"}}]]',
        '["Data", 2, ["\\u0000"]]',
        json.dumps(["Data", 2, ["x" * 101]]),
        json.dumps(["Data", 2, [{"n": "1" * 200}]]),
        json.dumps(["Data", 2, [{"n": "1", "format": "0" * 256}]]),
        json.dumps(["Data", 2, ["x" * 90] * 5]),
        "[" * 399,
    ],
)
def test_a_line_that_is_no_row_is_a_bad_row_and_the_rest_goes_on(line):
    first, bad, last = read('["Data", 1, ["a"]]', line, '["Data", 3, ["c"]]')
    assert first == ("Data", 1, ["a"])
    assert isinstance(bad, BadRow)
    assert (bad.sheet, bad.number, bad.code) == ("Data", 2, "cells-malformed")
    assert last == ("Data", 3, ["c"])


@pytest.mark.parametrize(
    ("line", "place"),
    [
        ('["More", 7, [12]]', ("More", 7)),
        ('["More", 7, [', ("More", 7)),
        ('["Data", 9, [{}]]', ("Data", 9)),
        ('["Data", 1, [12]]', ("Data", 2)),
        ("[12]", ("Data", 2)),
    ],
)
def test_a_line_that_is_no_row_keeps_the_place_that_it_says(line, place):
    _, bad = read('["Data", 1, ["a"]]', line)
    assert (bad.sheet, bad.number) == place
    assert bad.detail.startswith("line 2: ")
    assert bad.text == ""  # JSON is no text of the table


def test_each_sheet_counts_for_itself():
    rows = read('["A", 5, []]', '["B", 1, []]', '["B", 2, []]')
    assert [row[:2] for row in rows] == [("A", 5), ("B", 1), ("B", 2)]


def test_too_many_rows_are_refused():
    with pytest.raises(TableNotUsable) as caught:
        read(*(f'["A", {number}, []]' for number in range(1, 102)))
    assert caught.value.errors[0].code == "too-many-rows"
