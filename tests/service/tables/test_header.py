import pytest

from weighworthy_service.tables.header import (
    column_places,
    find_header,
    name_key,
    unit_in_header,
    unit_like,
    why_no_header,
)


@pytest.mark.parametrize(
    "text",
    ["Start weight", " START  weight ", "Start\u00a0weight", '"Start weight"', "Startweight"],
)
def test_names_are_compared_without_case_blanks_and_quotes(text):
    assert name_key(text) == name_key("Start weight")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Start weight [g]", "g"),
        ("Start weight [ mg ]", "mg"),
        ("Start weight (g)", "g"),
        ("Start weight / g", "g"),
        ("Start weight in g", "g"),
        ("Loss %", "%"),
        ("Temperature [°C]", "°C"),
        ("Weight (net) [g]", "g"),
        ("Weight", None),
        ("Weight (net)", None),
        ("Weight [kgf]", None),
        ("T min", None),
        ("Rate mg/min", None),
        ("g", None),
    ],
)
def test_the_unit_that_a_header_states(text, unit):
    assert unit_in_header(text) == unit


def test_what_looks_like_a_unit_is_told_to_whoever_asks():
    assert unit_like("Weight [kgf]") == "kgf"
    assert unit_like("Weight") is None


ROWS = [
    (None, 1, ["Export", "", ""]),
    (None, 2, ["Date", "Start weight [g]", "End [g]"]),
    (None, 3, ["1.3.2026", "12", "7"]),
]


def test_the_header_is_the_first_row_with_all_names():
    assert find_header(ROWS, ["end [G]", "date"]) == ROWS[1]
    assert find_header(ROWS, ["Date", "Loss"]) is None
    assert find_header(ROWS, ["#2"]) is None


def test_a_missing_column_is_named_with_its_neighbour():
    [fault] = why_no_header(ROWS, ["Date", "Start wieght [g]"])
    assert (fault.code, fault.row, fault.column) == ("column-missing", 2, "Start wieght [g]")
    assert "did you mean 'Start weight [g]'" in fault.detail


def test_where_nothing_fits_there_is_no_header():
    assert [fault.code for fault in why_no_header(ROWS, ["Loss", "Pan"])] == ["header-not-found"]


def test_a_name_that_is_there_twice_has_to_be_addressed_by_place():
    header = ("Date", "Weight", "weight ")
    places, faults = column_places(header, ["Date", "#3"])
    assert (dict(places), faults) == ({"Date": 0, "#3": 2}, [])
    _, [fault] = column_places(header, ["Weight"])
    assert fault.code == "column-twice"
    assert '"#2" or "#3"' in fault.detail
    _, [beyond] = column_places(header, ["#4"])
    assert beyond.code == "column-missing"


def test_a_name_of_any_length_is_looked_at_in_no_time():
    for text in ("[" * 30_000, "(" + " " * 30_000, "x [" + "g" * 30_000 + "]"):
        assert unit_in_header(text) is None
        assert unit_like(text) is None
    long = [(None, 1, ["Date", *("ab" * 15_000 + str(number) for number in range(200))])]
    assert [fault.column for fault in why_no_header(long, ["Date", "b" * 100])] == ["b" * 100]
