import re
from decimal import Decimal, FloatOperation, Inexact
from fractions import Fraction

import pytest

from weighworthy_service.metrology.quantity import (
    EXACT,
    QUANTA,
    UNITS,
    QuantityError,
    from_quanta,
    in_quanta,
    quantity_example,
    quantity_pattern,
    read_quantity,
)


@pytest.mark.parametrize(
    ("text", "dimension", "in_base_unit"),
    [
        ("12.0034 g", "mass", "12.0034"),
        ("12.0034g", "mass", "12.0034"),
        ("1.5 mg", "mass", "0.0015"),
        ("2 kg", "mass", "2000"),
        ("500 ug", "mass", "0.0005"),
        ("500 µg", "mass", "0.0005"),
        ("500 μg", "mass", "0.0005"),
        ("-0.001 g", "mass", "-0.001"),
        ("0.02 %", "share", "0.02"),
        ("90 s", "time", "90"),
        ("75 min", "time", "4500"),
        ("2 h", "time", "7200"),
        ("21.5 Cel", "temperature", "21.5"),
        ("21.5 °C", "temperature", "21.5"),
        ("2 K", "temperature_difference", "2"),
        ("1013.25 hPa", "pressure", "1013.25"),
        ("101325 Pa", "pressure", "1013.25"),
        ("101.325 kPa", "pressure", "1013.25"),
        ("7950 kg/m3", "density", "7950"),
        ("7.95 g/cm3", "density", "7950"),
    ],
)
def test_units_are_exact(text, dimension, in_base_unit):
    assert read_quantity(text, dimension) == Decimal(in_base_unit)


def test_digits_stay_as_written():
    assert str(read_quantity("12.0030 g", "mass")) == "12.0030"


def test_the_longest_number_keeps_every_digit():
    text = "999999999999.999999999"
    assert str(read_quantity(f"{text} g", "mass")) == text


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (12.003, "unit-missing"),
        (12, "unit-missing"),
        ("12.003", "unit-missing"),
        ("12 ", "unit-missing"),
        (True, "wrong-type"),
        (None, "wrong-type"),
        (["12 g"], "wrong-type"),
        ("12,003 g", "decimal-comma"),
        ("12,003", "decimal-comma"),
        ("1.000.000 g", "number-malformed"),
        ("1,000.5 g", "number-malformed"),
        ("12. g", "number-malformed"),
        (".5 g", "number-malformed"),
        ("+5 g", "number-malformed"),
        ("−5 g", "number-malformed"),
        ("1e3 g", "number-malformed"),
        ("1E-3 g", "number-malformed"),
        ("1e999999", "number-malformed"),
        ("NaN g", "number-malformed"),
        ("Infinity g", "number-malformed"),
        ("", "number-malformed"),
        ("g", "number-malformed"),
        (" 5 g", "number-malformed"),
        ("5  g", "number-malformed"),
        ("5 g ", "number-malformed"),
        ("5 g\n", "number-malformed"),
        ("١٢ g", "number-malformed"),
        ("1234567890123 g", "number-too-long"),
        ("0.1234567891 g", "number-too-long"),
        ("5 lb", "unit-not-taken"),
        ("5 G", "unit-not-taken"),
        ("5 %", "unit-not-taken"),
        ("5 d", "unit-not-taken"),
    ],
)
def test_what_is_no_mass_is_refused(text, code):
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, "mass")
    assert caught.value.code == code


@pytest.mark.parametrize("text", [12.003, "12.003", "12,003 g", "1e3 g", "x"])
def test_the_message_shows_the_right_form(text):
    with pytest.raises(QuantityError, match=r"12\.003 g"):
        read_quantity(text, "mass")


def test_the_message_lists_the_units_that_are_taken():
    with pytest.raises(QuantityError, match="s, min, h"):
        read_quantity("2 days", "time")


@pytest.mark.parametrize(
    ("text", "sign", "taken"),
    [
        ("0 g", "any", True),
        ("-1 g", "any", True),
        ("0 g", "not-negative", True),
        ("-0 g", "not-negative", False),
        ("-1 g", "not-negative", False),
        ("0.001 g", "positive", True),
        ("0.000 g", "positive", False),
        ("-1 g", "positive", False),
    ],
)
def test_signs_and_the_published_pattern_agree(text, sign, taken):
    matches = re.fullmatch(quantity_pattern("mass", sign), text) is not None
    assert matches == taken
    if taken:
        assert read_quantity(text, "mass", sign) == Decimal(text.split()[0])
    else:
        with pytest.raises(QuantityError) as caught:
            read_quantity(text, "mass", sign)
        assert caught.value.code == "out-of-range"


@pytest.mark.parametrize("dimension", UNITS)
def test_examples_are_well_formed(dimension):
    example = quantity_example(dimension)
    assert re.fullmatch(quantity_pattern(dimension), example)
    assert read_quantity(example, dimension) > 0


def test_the_exact_context_refuses_to_round():
    with pytest.raises(Inexact):
        EXACT.divide(Decimal(1), Decimal(3))


def test_the_exact_context_refuses_floats():
    with pytest.raises(FloatOperation):
        EXACT.create_decimal(0.1)


def test_any_quantity_of_a_request_is_a_whole_number_of_quanta():
    """The finest number, in the finest unit of each dimension; a quantum is 1e-15."""
    assert QUANTA == 10**15
    for dimension, units in UNITS.items():
        for unit in units:
            value = read_quantity(f"0.000000001 {unit}", dimension)
            assert Fraction(in_quanta(value), QUANTA) == Fraction(value)
            assert from_quanta(in_quanta(value)) == value
    assert in_quanta(read_quantity("-12.0034 g", "mass")) == -12_003_400_000_000_000


def test_what_is_finer_than_any_request_is_no_number_of_quanta():
    with pytest.raises(ValueError, match="15 decimals"):
        in_quanta(Decimal("1e-16"))
