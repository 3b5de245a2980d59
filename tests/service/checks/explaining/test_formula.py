"""Formulas: their values by hand, and texts that mean what the values say."""

from decimal import Decimal, FloatOperation, Inexact, localcontext
from fractions import Fraction

import pytest

from weighworthy_service.checks.explaining.formula import formula, stated
from weighworthy_service.checks.explaining.functions import (
    ascending,
    both,
    choice,
    half_even,
    largest,
    smallest,
    sqrt,
    to_multiple,
    total,
    upwards,
    worst,
)
from weighworthy_service.checks.explaining.written import figures_of, written

A = stated("a", Decimal("2.50"), "request /a")
B = stated("b", Decimal("-0.5"), "request /b")


def names(of):
    return written(of, lambda figure: figure.symbol)


def figures(of):
    return written(of, lambda figure: figure.text)


@pytest.mark.parametrize(
    ("of", "value", "with_names", "with_figures"),
    [
        (A + B, "2", "a + b", "2.50 + (-0.5)"),
        (A - B - 1, "2", "a - b - 1", "2.50 - (-0.5) - 1"),
        (A - (B - 1), "4", "a - (b - 1)", "2.50 - (-0.5 - 1)"),
        (2 * (A + B), "4", "2 * (a + b)", "2 * (2.50 + (-0.5))"),
        (B * A, "-1.25", "b * a", "-0.5 * 2.50"),
        (A * B, "-1.25", "a * b", "2.50 * (-0.5)"),
        (A / (B * 2), "-2.5", "a / (b * 2)", "2.50 / (-0.5 * 2)"),
        (B**2, "0.25", "b**2", "(-0.5)**2"),
        (-(A * 3), "-7.5", "-(a * 3)", "-(2.50 * 3)"),
        (1 - -B, "0.5", "1 - (-b)", "1 - (-(-0.5))"),
        (abs(B), "0.5", "abs(b)", "abs(-0.5)"),
        (1e-5 * A, "0.000025", "1e-05 * a", "1e-05 * 2.50"),
        (largest(A, B), "2.5", "max(a, b)", "max(2.50, -0.5)"),
        (smallest(A), "2.5", "a", "2.50"),
        (half_even(A, 1), "2", "round_half_even(a, 1)", "round_half_even(2.50, 1)"),
        (upwards(B * 5, 1), "-3", "round_up(b * 5, 1)", "round_up(-0.5 * 5, 1)"),
        (to_multiple(A, formula(2)), "2", "round_to_multiple(a, 2)", "round_to_multiple(2.50, 2)"),
    ],
)
def test_rational_formulas_are_exact(of, value, with_names, with_figures):
    assert of.value == Fraction(value)
    assert isinstance(of.value, Fraction)
    assert (names(of), figures(of)) == (with_names, with_figures)


def test_roots_are_decimals_of_more_digits_than_are_shown():
    # √2 to 40 digits.
    assert sqrt(formula(2)).value == Decimal("1.414213562373095048801688724209698078570")
    of = sqrt(A**2 + B**2) / 2
    # √6.5/2
    assert str(of.value).startswith("1.274754878398196")
    assert names(of) == "sqrt(a**2 + b**2) / 2"


def test_verdicts():
    inside = ascending(B, formula(0), A)
    assert inside.value is True
    of = choice(inside, "pass", choice(both(inside, ascending(A, B)), "half", "fail"))
    assert of.value == "pass"
    assert names(of) == '"pass" if b <= 0 <= a else "half" if b <= 0 <= a and a <= b else "fail"'
    assert worst(of, choice(ascending(A, B), "pass", "fail")).value == "fail"


def test_long_sums_stay_flat():
    of = total([A] * 3)
    assert (names(of), of.value) == ("a + a + a", Fraction("7.5"))
    assert list(figures_of(of)) == [A, A, A]


def test_the_callers_decimal_context_does_not_matter():
    with localcontext() as context:
        context.prec = 3
        context.traps[Inexact] = context.traps[FloatOperation] = True
        assert sqrt(formula(2) * 0.5 * 4).value == Decimal(2)
        assert (sqrt(formula(2)) * sqrt(formula(3))).number > Decimal("2.449489742")
