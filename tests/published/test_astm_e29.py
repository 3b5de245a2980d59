"""ASTM E29: absolute method and rounding method.

That one of the two must be named was read in the scope of E29-13/22; how each works is from memory:
absolute compares the value as it is; rounding first rounds it, half to even, to the last place of
the limit.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.metrology.conformity import decide, decide_rounded
from weighworthy_service.metrology.limits import Basis, Interval
from weighworthy_service.metrology.rounding import rounded_to_place

# Limit 0.05 %: value, verdict of each method.
EXAMPLES = [
    ("0.0549", "fail", "pass"),
    ("0.0500", "pass", "pass"),
    ("0.0501", "fail", "pass"),
    ("0.055", "fail", "fail"),  # 0.055 is rounded to the even 0.06
    ("-0.0549", "fail", "pass"),
    ("-0.055", "fail", "fail"),
]


@pytest.mark.parametrize(("value", "absolute", "rounding"), EXAMPLES)
def test_both_methods(make, value: str, absolute: str, rounding: str) -> None:
    basis = Basis(make.instrument(), Decimal(10), "%")
    interval = make.limit(within="0.05 %").at(basis)
    assert decide(Fraction(value), interval, "simple", Fraction(0)) == absolute
    assert decide_rounded(Fraction(value), interval, None) == rounding


@pytest.mark.parametrize(
    ("value", "rounded"), [("0.045", "0.04"), ("0.055", "0.06"), ("0.0549", "0.05")]
)
def test_half_to_even(value: str, rounded: str) -> None:
    assert rounded_to_place(Fraction(value), Decimal("0.01")) == Fraction(rounded)


def test_the_place_is_the_limits_own(make) -> None:
    """A limit of 0.050 % has a place more than 0.05 %: 0.0504 still rounds to it, 0.0506 not."""
    basis = Basis(make.instrument(), Decimal(10), "%")
    fine = make.limit(within="0.050 %").at(basis)
    assert decide_rounded(Fraction("0.0504"), fine, None) == "pass"
    assert decide_rounded(Fraction("0.0506"), fine, None) == "fail"
    assert decide_rounded(Fraction("0.0506"), fine, Decimal("0.01")) == "pass"
    # In mg the place is the mg's: 1.5 mg has 0.1 mg, and 1.54 mg rounds to 1.5.
    mass = make.limit(within="1.5 mg").at(Basis(make.instrument(), Decimal(10), "g"))
    assert decide_rounded(Fraction("0.00154"), mass, None) == "pass"
    assert decide_rounded(Fraction("0.00156"), mass, None) == "fail"


def test_a_limit_between_two_places() -> None:
    """Rounding to 0.02 when the limit is 0.05: 0.05 itself goes half to even, to 0.04."""
    interval = Interval(None, Fraction("0.05"))
    assert decide_rounded(Fraction("0.05"), interval, Decimal("0.02")) == "pass"
    assert decide_rounded(Fraction("0.0501"), interval, Decimal("0.02")) == "fail"
