from decimal import ROUND_HALF_EVEN, Context, Decimal, FloatOperation, localcontext
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.metrology.rounding import (
    nearest_float,
    rounded,
    rounded_to_place,
    rounded_up,
)


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [
        (Decimal("1.25"), 2, "1.2"),
        (Decimal("1.35"), 2, "1.4"),
        (Decimal("-1.25"), 2, "-1.2"),
        (Decimal("1.2500001"), 2, "1.3"),
        (Fraction(2, 3), 3, "0.667"),
        (0.125, 2, "0.12"),
        (0.1 + 0.2, 10, "0.3000000000"),
        (Decimal(99999), 3, "1.00E+5"),
        (Decimal(0), 3, "0"),
    ],
)
def test_half_to_even_at_significant_digits(value, digits, expected):
    assert rounded(value, digits) == Decimal(expected)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (Decimal("0.00121"), "0.0013"),
        (Decimal("0.0012"), "0.0012"),
        (Decimal("0.001200000001"), "0.0013"),
        (Decimal("9.91"), "10"),
        (Fraction(1, 3), "0.34"),
        (Decimal("-0.121"), "-0.13"),
    ],
)
def test_up_is_away_from_zero(value, expected):
    assert rounded_up(value, 2) == Decimal(expected)


@pytest.mark.parametrize(
    ("value", "place", "expected"),
    [
        ("0.0145", "0.001", "0.014"),
        ("0.0155", "0.001", "0.016"),
        ("-0.0145", "0.001", "-0.014"),
        ("0.0145000001", "0.001", "0.015"),
        ("0.37", "0.25", "0.25"),  # 1.48 steps
        ("0.375", "0.25", "0.5"),  # 1.5 steps: to the even 2
        ("0.625", "0.25", "0.5"),  # 2.5 steps: to the even 2
    ],
)
def test_half_to_even_at_a_place(value, place, expected):
    assert rounded_to_place(Decimal(value), Decimal(place)) == Fraction(Decimal(expected))


@pytest.mark.parametrize("value", [Decimal("0.123456789"), Fraction(1, 7), 0.1 + 0.2])
def test_the_context_of_the_calling_script_does_not_matter(value):
    before = rounded(value, 8), rounded_up(value, 8)
    with localcontext() as context:
        context.prec = 3
        context.traps[FloatOperation] = True
        assert (rounded(value, 8), rounded_up(value, 8)) == before


SIZES = st.integers(-(10**40), 10**40) | st.integers(-(10**6), 10**6)


@settings(max_examples=500, deadline=None, derandomize=True)
@given(SIZES, st.integers(1, 10**40) | st.integers(1, 10**6), st.integers(1, 15))
def test_the_float_of_a_ratio_is_that_of_the_rounded_decimal(numerator, denominator, digits):
    """Against the division of the standard library's decimals."""
    context = Context(prec=digits, rounding=ROUND_HALF_EVEN)
    divided = context.divide(Decimal(numerator), Decimal(denominator))
    assert nearest_float(numerator, denominator, digits) == float(divided)


@pytest.mark.parametrize(
    ("numerator", "denominator", "expected"),
    [
        (0, 7, "0.0"),
        (-1, 8, "-0.125"),
        (1000, 1, "1000.0"),
        (999_999_999_999_999_5, 10**16, "1.0"),  # half, to the even
        (999_999_999_999_998_5, 10**16, "0.999999999999998"),
        (10**15, 10**15 + 1, "0.999999999999999"),
        (1, 3 * 10**20, "3.33333333333333e-21"),
        (2 * 10**30, 3, "6.66666666666667e+29"),
    ],
)
def test_the_float_of_a_ratio_by_hand(numerator, denominator, expected):
    assert repr(nearest_float(numerator, denominator, 15)) == expected
