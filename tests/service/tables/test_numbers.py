"""Expected values: what the text says to a reader, and the grammar stated in the documentation."""

from decimal import Context, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.metrology.quantity import read_quantity
from weighworthy_service.tables.cells import (
    CellFault,
    ErrorCell,
    NumberCell,
    TimeCell,
    UncachedCell,
)
from weighworthy_service.tables.number_formats import Shows, shows
from weighworthy_service.tables.numbers import (
    Marks,
    counts,
    decimals,
    number_texts,
    quantity_texts,
    quantity_values,
)

POINT, COMMA = Marks("."), Marks(",")


def fault(read, cell) -> CellFault:
    with pytest.raises(CellFault) as caught:
        read(cell)
    return caught.value


@pytest.mark.parametrize(
    ("cell", "marks", "unit", "text"),
    [
        ("12.0034", POINT, "g", "12.0034 g"),
        ("12,0034", COMMA, "g", "12.0034 g"),
        ("12,0030", COMMA, "g", "12.0030 g"),
        ("12", COMMA, "g", "12 g"),
        ("-0,5", COMMA, "mg", "-0.5 mg"),
        ("−0,5", COMMA, "mg", "-0.5 mg"),
        ("  7.5\u00a0", POINT, "g", "7.5 g"),
        ("12003 mg", POINT, "g", "12003 mg"),
        ("12.003 g", POINT, None, "12.003 g"),
        ("12.003\u00a0g", POINT, None, "12.003 g"),
        ("1 234,5", Marks(",", "space"), "g", "1234.5 g"),
        ("1\u202f234\u00a0567,5", Marks(",", "space"), "g", "1234567.5 g"),
        ("1'234.5", Marks(".", "apostrophe"), "g", "1234.5 g"),
        ("1.234,5", Marks(",", "."), "g", "1234.5 g"),
        ("1,234", Marks(".", ","), "g", "1234 g"),
        ("1234.5", Marks(".", ","), "g", "1234.5 g"),
    ],
)
def test_a_number_keeps_its_digits_and_gets_its_unit(cell, marks, unit, text):
    assert quantity_texts("mass", unit, marks)(cell) == text


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("12,5 %", "12.5 %"),
        ("12,5%", "12.5 %"),
        ("12,5", "12.5 %"),
        (NumberCell("0.125", "0.00%"), "12.5 %"),
        (NumberCell("0.07", "0%"), "7 %"),
        (NumberCell("1", "0%"), "100 %"),
        (NumberCell("12.5", "0.00"), "12.5 %"),
        (NumberCell("12.5", '0.00" %"'), "12.5 %"),
    ],
)
def test_percent_in_text_is_percent_and_in_a_format_a_hundred_times(cell, text):
    assert quantity_texts("share", "%", COMMA)(cell) == text


@pytest.mark.parametrize(
    ("number_format", "percent"),
    [
        ("0%", True),
        ("0.00%;[Red]-0.00%", True),
        ("General", False),
        ('0.0" %"', False),
        (r"0.0\%", False),
        ("[%]0.0", False),
    ],
)
def test_a_percent_sign_that_is_mere_text_scales_nothing(number_format, percent):
    assert shows(number_format, 1).percent is percent


@pytest.mark.parametrize(
    ("stored", "places", "text"),
    [
        ("12.003", 4, "12.0030 g"),
        ("12", 4, "12.0000 g"),
        ("12", 0, "12 g"),
        # Binary noise behind the fifteenth digit, which no spreadsheet program shows.
        ("12.003000000000002", 4, "12.0030 g"),
        ("12.003000000000002", None, "12.003 g"),
        ("1e-3", None, "0.001 g"),
        ("1.2E+1", None, "12 g"),
    ],
)
def test_a_stored_number_gets_back_the_zeros_that_the_mapping_states(stored, places, text):
    assert quantity_texts("mass", "g", COMMA, places)(NumberCell(stored)) == text


def test_stated_decimals_hold_for_texts_too():
    read = quantity_texts("mass", "g", COMMA, 4)
    assert read("12,003") == "12.0030 g"
    assert read("12,00300") == "12.0030 g"
    assert fault(read, "12,00301").code == "too-many-decimals"


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("<0,01", "censored"),
        ("> 5", "censored"),
        ("---", "not-a-reading"),
        ("n/a", "not-a-reading"),
        ("#N/A", "not-a-reading"),
        ("OVERLOAD", "overload"),
        ("OL", "overload"),
        ("12.5", "decimal-differs"),
        ("1.234,5", "decimal-differs"),
        ("1 234,5", "number-malformed"),
        ("+10", "number-malformed"),
        ("1_000", "number-malformed"),
        ("１２", "number-malformed"),
        ("١٢", "number-malformed"),
        ("1,5e3", "number-malformed"),
        ("1e3", "number-malformed"),
        ("inf", "number-malformed"),
        ("NaN", "not-a-reading"),
        (",5", "number-malformed"),
        ("5,", "number-malformed"),
        ("- 5", "number-malformed"),
        ("5-", "number-malformed"),
        ("1,2,3", "number-malformed"),
        ("abc", "number-malformed"),
        ("1234567890123", "number-too-long"),
        ("0,1234567890", "number-too-long"),
        ("12 kgf", "unit-not-taken"),
        ("12 %", "unit-not-taken"),
        (NumberCell("0.5", "0%"), "unit-not-taken"),
        (NumberCell("1e300"), "number-too-long"),
        (NumberCell("nan"), "number-malformed"),
        (NumberCell("1_0"), "number-malformed"),
        (TimeCell("2026-03-04T00:00:00"), "number-malformed"),
        (True, "number-malformed"),
        (ErrorCell("#DIV/0!"), "cell-error"),
        (UncachedCell("=C3-D3"), "formula-uncached"),
    ],
)
def test_what_is_no_number_is_a_fault_and_never_a_number(cell, code):
    assert fault(quantity_texts("mass", "g", COMMA), cell).code == code
    assert fault(quantity_values("mass", "g", COMMA), cell).code == code


def test_a_number_without_any_unit_is_a_fault():
    assert fault(quantity_texts("mass", None, COMMA), "12,003").code == "unit-missing"
    assert fault(quantity_values("mass", None, COMMA), "12,003").code == "unit-missing"


@pytest.mark.parametrize("cell", [None, "", "  ", "\u00a0", "---", "9999,0"])
def test_empty_cells_and_texts_stated_as_missing_are_absent(cell):
    marks = Marks(",", missing=frozenset({"---", "9999,0"}))
    assert quantity_texts("mass", "g", marks)(cell) is None
    assert quantity_values("mass", "g", marks)(cell) is None


def test_values_come_in_the_base_unit():
    """In whole numbers of 1e-15 g."""
    assert quantity_values("mass", "mg", COMMA)("12003,4") == 12_003_400_000_000_000
    assert quantity_values("mass", "g", COMMA)("12003 mg") == 12_003_000_000_000_000
    assert quantity_values("mass", "ug", COMMA)("0,000000001") == 1


CELLS = st.one_of(
    st.from_regex(r"[-−]?[0-9]{1,13}([.,][0-9]{1,10})?( ?(g|mg|kg|%))?", fullmatch=True),
    st.text("0123456789.,-− g", max_size=12),
)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(CELLS, st.sampled_from(".,"), st.sampled_from([None, "g", "mg"]), st.sampled_from([None, 3]))
def test_the_direct_value_is_what_the_text_means(cell, mark, unit, places):
    def outcome(reader):
        try:
            return reader("mass", unit, Marks(mark), places)(cell)
        except CellFault as error:
            return error.code

    text, value = outcome(quantity_texts), outcome(quantity_values)
    if isinstance(value, int):
        assert Fraction(value, 10**15) == Fraction(read_quantity(text, "mass"))
    else:
        assert value == text


def test_the_decimal_context_of_the_caller_changes_nothing():
    with localcontext(Context(prec=3)):
        assert quantity_texts("share", "%", COMMA)(NumberCell("0.1234567", "0%")) == "12.34567 %"
        assert quantity_values("mass", "mg", COMMA)("12003,456") == 12_003_456_000_000_000


def test_pure_numbers_counts_and_long_decimals():
    assert number_texts(COMMA)("2,05") == "2.05"
    assert fault(number_texts(COMMA), "2 g").code == "unit-not-taken"
    assert counts(COMMA)(NumberCell("10.0")) == 10
    assert counts(COMMA)("10") == 10
    assert fault(counts(COMMA), "10,5").code == "number-malformed"
    assert decimals(COMMA)("46085,5104166667") == Decimal("46085.5104166667")


def test_one_mark_cannot_be_both():
    with pytest.raises(ValueError, match="the same"):
        Marks(",", ",")


@pytest.mark.parametrize(
    ("number_format", "unit"),
    [
        ('0.000" mg"', "mg"),
        ('#,##0.0 "g"', "g"),
        (r"0.000\ \m\g", "mg"),
        ('0.000_ "mg";-0.000_ "mg"', "mg"),
        ("0.000 [$kg-409]", "kg"),
        ('[Red]0.0" g"', "g"),
        ('0.0" ± 1 mg"', "mg"),
        ('"ca. "0.000', None),
        ('0" pcs"', None),
        ("0.000_g", None),
        ("General", None),
        ("", None),
        ("dd.mm.yyyy h", None),
        # Spelt out, in other letters, and put together from texts and single characters.
        ('0.0 "milligrams"', "mg"),
        ('0.0" Milligramm"', "mg"),
        ('0.0" MG"', "mg"),
        ('0.0 m"g"', "mg"),
        (r'0.0\ \m"g"', "mg"),
        ('0.0_ \\m"g"_-', "mg"),
        ('0.0[$m]"g"', "mg"),
        ('0.000" G"', "g"),
        ('0.000" grams"', "g"),
        ('0.000" gr."', "g"),
        ('0.0" мг"', "mg"),
        ('0.0" MCG"', "ug"),
        ('0.0" µg"', "µg"),
        ('0.0" kilo"', "kg"),
        ('0" minutes"', "min"),
        ('0" Std."', "h"),
        ('0.0" C"', "Cel"),
        ('0" HPA"', "hPa"),
        ('0" kg/m3"', "kg/m3"),
        ('0" kg/m³"', "kg/m3"),
        ('0" mg/kg"', "mg/kg"),
        ('0" mg/day"', "mg/day"),
        ('0" mg/Probe"', "mg"),
        ('0.00" oz"', "oz"),
        ('0.00" Karat"', "karat"),
        # A thousand, a metre, a word that only begins like a unit, codes of durations.
        ('0.0" k"', None),
        ('0.0" m"', None),
        ('0.0" gross"', None),
        ("[h]:mm:ss", None),
        ("0.00E+00", None),
    ],
)
def test_units_that_a_number_format_shows(number_format, unit):
    assert shows(number_format, 1).unit == unit


@pytest.mark.parametrize("word", ["milligrams", "MG", "Milligramm", "mgs", "ounces", "kg"])
def test_a_unit_that_is_spelt_out_must_be_that_of_the_column(word):
    shown = NumberCell("12001", f'0.0" {word}"')
    for read in (quantity_texts("mass", "g", POINT), quantity_values("mass", "g", POINT)):
        found = fault(read, shown)
        assert found.code == "unit-differs"
        assert word in found.detail
    assert quantity_texts("mass", "g", POINT)(NumberCell("12.001", '0.0" GRAMS"')) == "12.001 g"


def test_each_sign_has_its_section():
    both = '0.0" g";-0.0" mg";"nothing"'
    assert [shows(both, sign).unit for sign in (1, -1, 0)] == ["g", "mg", None]
    assert shows('0.0" g"', -1) == Shows(unit="g")
    assert shows('[<1]0.0" mg";0.000" g"', 1).unit == "mg"


@pytest.mark.parametrize(
    ("number_format", "divided"),
    # A spreadsheet program shows 12001 as 12, 12.00, 12 k, 0 and as 12,001 in the last three.
    [
        ("0,", 1000),
        ("0,.00", 1000),
        ('0.0," k"', 1000),
        ("#,##0,,", 1000000),
        ("#,##0", 1),
        ("#,##0.000", 1),
        ('0", "', 1),
    ],
)
def test_commas_behind_the_last_digit_divide(number_format, divided):
    assert shows(number_format, 1).divided == divided
    if divided > 1:
        with pytest.raises(CellFault) as caught:
            quantity_texts("mass", "g", COMMA)(NumberCell("12001", number_format))
        assert caught.value.code == "format-divides"
        assert number_format in caught.value.detail
        assert "12001" in caught.value.detail


def test_a_unit_that_is_shown_must_be_that_of_the_column():
    shown = NumberCell("12.001", '0.000" mg"')
    assert quantity_texts("mass", "mg", POINT)(shown) == "12.001 mg"
    with pytest.raises(CellFault) as caught:
        quantity_texts("mass", "g", POINT)(shown)
    assert caught.value.code == "unit-differs"
    assert "'mg'" in caught.value.detail
    assert "'g'" in caught.value.detail
    with pytest.raises(CellFault):
        quantity_values("mass", "g", POINT)(shown)
    # Nobody else says a unit: what is shown is the cell's own.
    assert quantity_texts("mass", None, POINT)(shown) == "12.001 mg"
    # A text that is no unit says nothing.
    assert quantity_texts("mass", "g", POINT)(NumberCell("12.001", '0.000" net"')) == "12.001 g"
