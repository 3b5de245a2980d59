import pytest

from weighworthy_service.tables.cells import (
    CellFault,
    ErrorCell,
    NumberCell,
    UncachedCell,
    is_empty,
    shown,
)
from weighworthy_service.tables.written import choices, flags, lists, texts, written


def fault(read, cell) -> str:
    with pytest.raises(CellFault) as caught:
        read(cell)
    return caught.value.code


def test_text_comes_without_blanks_around_it_and_keeps_leading_zeros():
    assert texts()(" 007\u00a0") == "007"
    assert texts()(NumberCell("7", "000")) == "7"
    assert texts()("  ") is None
    assert texts(frozenset({"---"}))("---") is None


def test_errors_and_formulas_without_result_are_told_apart():
    assert fault(written, ErrorCell("#N/A")) == "cell-error"
    assert fault(written, UncachedCell("=C3-D3")) == "formula-uncached"
    assert written(ErrorCell("#N/A"), frozenset({"#N/A"})) is None


def test_choices_take_any_case_and_name_what_they_know():
    read = choices({"Loss test": "simulated-loss", "Span": "span"})
    assert read(" LOSS TEST ") == "simulated-loss"
    assert read("") is None
    with pytest.raises(CellFault, match="'Loss test', 'Span'") as caught:
        read("Blank")
    assert caught.value.code == "value-not-mapped"
    with pytest.raises(ValueError, match="two values"):
        choices({"yes": True, "YES": False})


def test_of_many_texts_the_first_are_listed():
    read = choices({f"Kind {number:03}": number for number in range(1, 1001)})
    with pytest.raises(CellFault) as caught:
        read("Blank")
    assert caught.value.detail.endswith("'Kind 009', 'Kind 010' and 990 more")
    read = choices({"x" * 255: 1, "y": 2})
    with pytest.raises(CellFault) as caught:
        read("z" * 100)
    assert len(caught.value.detail) < 200
    assert caught.value.detail.endswith("…', 'y'")


def test_flags():
    assert flags()(True) is True
    assert flags()("TRUE") is True
    assert flags({"on": True, "off": False})("Off") is False
    assert flags({"on": True, "off": False})(None) is None
    assert fault(flags(), "yes") == "value-not-mapped"
    assert fault(flags(), NumberCell("1")) == "value-not-mapped"


def test_names_of_weights():
    assert lists("+")("A + B") == ["A", "B"]
    assert lists(None)("A + B") == ["A + B"]
    assert lists("+")(" ") is None
    assert fault(lists("+"), "A++B") == "name-missing"


def test_what_a_person_sees():
    assert [shown(cell) for cell in (None, True, "x", UncachedCell("=A1"))] == [
        "",
        "TRUE",
        "x",
        "=A1",
    ]
    assert len(shown("x" * 1000)) == 200
    assert is_empty(None)
    assert is_empty(" \u00a0")
    assert not is_empty(False)
