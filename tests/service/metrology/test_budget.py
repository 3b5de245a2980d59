from decimal import Decimal
from math import inf, sqrt

import pytest

from weighworthy_service.metrology.budget import (
    BudgetRow,
    combine,
    coverage_factor,
    stated,
    t_probability,
    t_quantile,
)

USUAL = Decimal("95.45")
# Coverage of exactly one standard deviation (normal): erf(1/√2) in %.
ONE_SIGMA = Decimal("68.2689492137086")


def row(u, sensitivity=1.0, degrees=inf):
    return BudgetRow("input", "normal", u, "g", sensitivity, degrees)


def test_contributions_add_in_quadrature():
    result = combine([row(3.0), row(2.0, -2.0)], USUAL)
    assert [r.contribution for r in result.rows] == [3.0, 4.0]
    assert result.standard == 5.0


def test_welch_satterthwaite_is_neither_truncated_nor_rounded():
    # 5⁴ / (3⁴/4 + 4⁴/16) = 625 / (20.25 + 16) = 17.2413793103...
    result = combine([row(3.0, 1.0, 4), row(4.0, 1.0, 16)], USUAL)
    assert result.degrees_of_freedom == pytest.approx(17.24137931034483, rel=1e-14)


def test_known_inputs_raise_the_degrees_of_freedom():
    # 5⁴ / (3⁴/4) = 625 / 20.25 = 30.8641975...
    assert combine([row(3.0, 1.0, 4), row(4.0)], USUAL).degrees_of_freedom == pytest.approx(
        30.864197530864196, rel=1e-14
    )


def test_nothing_estimated_leaves_them_infinite():
    assert combine([row(3.0), row(4.0)], USUAL).degrees_of_freedom == inf


@pytest.mark.parametrize(
    ("degrees", "printed"),
    [(1, 13.97), (2, 4.53), (4, 2.87), (9, 2.32), (10, 2.28), (20, 2.13), (50, 2.05), (inf, 2.0)],
)
def test_coverage_factors_of_jcgm_100_table_g_2(degrees, printed):
    # JCGM 100:2008, Table G.2, column 95.45 % (from memory); half the last printed digit.
    assert coverage_factor(degrees, USUAL) == pytest.approx(printed, abs=0.005)


def test_two_standard_deviations_state_exactly_twice_u():
    # JCGM 100:2008, 6.3.3 and Table G.2: 95.45 % is k = 2; so u = 0.1 states 0.20, never 0.21.
    assert coverage_factor(inf, USUAL) == pytest.approx(2, abs=1e-14)
    assert combine([row(0.1)], USUAL).expanded == Decimal("0.20")


def test_the_coverage_of_the_profile_is_used():
    # Two-sided 95 % and 99 % of the normal distribution: the familiar 1.960 and 2.576.
    assert coverage_factor(inf, Decimal(95)) == pytest.approx(1.960, abs=0.0005)
    assert coverage_factor(inf, Decimal(99)) == pytest.approx(2.576, abs=0.0005)


def test_the_t_distribution_of_one_degree_is_cauchys():
    # Φ(x) = 1/2 + arctan(x)/π: 3/4 at 1.
    assert t_quantile(0.75, 1) == pytest.approx(1.0, rel=1e-12)
    assert t_probability(1.0, 1) == pytest.approx(0.75, rel=1e-12)


@pytest.mark.parametrize(
    ("standard", "stated"),
    [
        (0.00121, "0.0013"),
        (0.00129, "0.0013"),
        (0.00131, "0.0014"),
        (0.991, "1.0"),
        (123.0, "130"),
    ],
)
def test_the_stated_uncertainty_is_rounded_up_to_two_digits(standard, stated):
    assert combine([row(standard)], ONE_SIGMA).expanded == Decimal(stated)


def test_the_last_bit_of_a_float_adds_no_digit():
    assert 0.1 + 0.2 > 0.3
    assert combine([row(0.1 + 0.2)], ONE_SIGMA).expanded == Decimal("0.30")


def test_but_a_digit_that_is_there_counts():
    # 0.300000001 has nine digits, so it survives settling at ten.
    assert combine([row(0.300000001)], ONE_SIGMA).expanded == Decimal("0.31")


def test_one_estimate_used_twice_counts_once():
    # The same s in two readings is one row with √2: ν stays n - 1 instead of doubling.
    assert combine([row(1.0, sqrt(2), 9)], USUAL).degrees_of_freedom == pytest.approx(9)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (0.5, "0.5"),
        (3.0, "3"),
        (20.0, "20"),
        (0.25, "0.25"),
        (0.30000000000000004, "0.30"),
        (0.0001234, "0.00013"),
        # Ten digits of 1 000 000 000 001 are 1.000 000 000 E12: nothing is left to round up.
        (1_000_000_000_001.0, "1000000000000"),
        # Of 1 000 000 001 the ten digits are all there are, and the last one counts.
        (1_000_000_001.0, "1100000000"),
        (999_999_999.5, "1000000000"),
    ],
)
def test_a_number_is_stated_to_two_digits_and_no_zeros_are_added(value, text):
    assert f"{stated(value):f}" == text
