import pytest

from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.tables.decimal_mark import find_decimal_mark, vote


@pytest.mark.parametrize(
    ("text", "thousands", "mark"),
    [
        ("12,5", None, ","),
        ("12.0034", None, "."),
        ("−12,5 g", None, ","),
        ("12,5 %", None, ","),
        ("0,234", None, ","),
        ("1234,567", None, ","),
        ("1,234", None, "either"),
        ("12.003", None, "either"),
        ("120,034 g", None, "either"),
        ("1.234,5", None, ","),
        ("1,234.567", None, "."),
        ("1,234,567", None, "."),
        ("1.234.567", None, ","),
        ("1,234", "space", ","),
        ("1,234", ",", "."),
        ("1,234", ".", ","),
        ("1 234,567", "space", ","),
        ("12", None, None),
        ("---", None, None),
        ("1,2,3.4.5", None, None),
        ("12.03.2026", None, None),
        ("n/a", None, None),
    ],
)
def test_what_one_text_says_of_the_mark(text, thousands, mark):
    assert vote(text, thousands) == mark


def places(*texts):
    return [(None, row, "Start", text) for row, text in enumerate(texts, start=2)]


def test_one_cell_decides_for_all():
    assert find_decimal_mark(places("12", "1,234", "12,5"), None) == ","
    assert find_decimal_mark(places("1.234", "12.5"), None) == "."


def test_no_mark_at_all_decides_nothing():
    assert find_decimal_mark(places("12", "---", ""), None) is None


def test_two_faced_cells_alone_are_asked_about():
    with pytest.raises(TableNotUsable) as caught:
        find_decimal_mark(places("12", "1,234", "2,345"), None)
    [fault] = caught.value.errors
    assert (fault.code, fault.row, fault.column, fault.cell) == (
        "decimal-ambiguous",
        3,
        "Start",
        "1,234",
    )
    assert "state `decimal`" in fault.detail


def test_cells_that_disagree_are_both_named():
    with pytest.raises(TableNotUsable) as caught:
        find_decimal_mark(places("12,5", "12.5"), None)
    assert {(fault.row, fault.cell) for fault in caught.value.errors} == {(2, "12,5"), (3, "12.5")}
