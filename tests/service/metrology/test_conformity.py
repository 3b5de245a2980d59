from decimal import Decimal
from fractions import Fraction
from math import atan, inf, pi

import pytest
from scipy.stats import norm

from weighworthy_service.metrology.conformity import (
    acceptance_interval,
    conformance_probability,
    decide,
    decide_rounded,
    distance,
    guard_band,
    half_width,
)
from weighworthy_service.metrology.limits import Interval

TWO_SIDED = Interval(Fraction(-10), Fraction(10))
UPPER = Interval(None, Fraction(10))
LOWER = Interval(Fraction(-10), None)
TINY = Fraction(1, 10**15)


@pytest.mark.parametrize(
    ("rule", "factor", "width"),
    [("simple", "1", 0), ("guarded", "1", 2), ("guarded", "0", 0), ("four-way", "1.5", 3)],
)
def test_the_guard_band_is_r_times_the_stated_uncertainty(rule, factor, width):
    assert guard_band(rule, Decimal(factor), Decimal("2.0")) == width


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (Fraction(10), "pass"),
        (Fraction(-10), "pass"),
        (Fraction(0), "pass"),
        (Fraction(10) + TINY, "fail"),
        (Fraction(-10) - TINY, "fail"),
    ],
)
def test_simple_acceptance(value, verdict):
    assert decide(value, TWO_SIDED, "simple", Fraction(0)) == verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (Fraction(8), "pass"),
        (Fraction(-8), "pass"),
        (Fraction(8) + TINY, "fail"),
        (Fraction(-8) - TINY, "fail"),
        (Fraction(10), "fail"),
    ],
)
def test_guarded_acceptance_with_a_band_of_2(value, verdict):
    assert decide(value, TWO_SIDED, "guarded", Fraction(2)) == verdict


FOUR_WAY = [
    (Fraction(8), "pass"),
    (Fraction(8) + TINY, "conditional-pass"),
    (Fraction(10), "conditional-pass"),
    (Fraction(10) + TINY, "conditional-fail"),
    (Fraction(12), "conditional-fail"),
    (Fraction(12) + TINY, "fail"),
]


@pytest.mark.parametrize(("value", "verdict"), FOUR_WAY)
def test_four_way_on_the_upper_side_and_mirrored(value, verdict):
    assert decide(value, TWO_SIDED, "four-way", Fraction(2)) == verdict
    assert decide(-value, TWO_SIDED, "four-way", Fraction(2)) == verdict
    assert decide(value, UPPER, "four-way", Fraction(2)) == verdict
    assert decide(-value, LOWER, "four-way", Fraction(2)) == verdict


def test_the_worse_side_counts():
    # Against the upper limit 0.5 would pass; against the lower it is only just inside.
    narrow = Interval(Fraction(0), Fraction(3))
    assert decide(Fraction(1, 2), narrow, "four-way", Fraction(1)) == "conditional-pass"


@pytest.mark.parametrize("rule", ["simple", "guarded", "four-way"])
def test_a_side_without_limit_never_fails(rule):
    assert decide(Fraction(-(10**9)), UPPER, rule, Fraction(2)) == "pass"
    assert decide(Fraction(10**9), LOWER, rule, Fraction(2)) == "pass"


def test_the_acceptance_interval_moves_only_where_a_limit_exists():
    assert acceptance_interval(TWO_SIDED, Fraction(2)) == Interval(Fraction(-8), Fraction(8))
    assert acceptance_interval(UPPER, Fraction(2)) == Interval(None, Fraction(8))
    assert acceptance_interval(LOWER, Fraction(2)) == Interval(Fraction(-8), None)


HUNDREDTHS = Interval(Fraction(-5, 100), Fraction(5, 100), Decimal("0.01"), Decimal("0.01"))


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("0.0549", "pass"),  # rounds to 0.05
        ("0.055", "fail"),  # half to even: 0.06
        ("0.054999999", "pass"),
        ("-0.0549", "pass"),
        ("-0.055", "fail"),
        ("0.05", "pass"),
    ],
)
def test_the_rounding_method_rounds_to_the_place_of_the_limit(value, verdict):
    assert decide_rounded(Fraction(Decimal(value)), HUNDREDTHS, None) == verdict


def test_half_to_even_can_favour_the_value():
    limit = Interval(None, Fraction(4, 100), None, Decimal("0.01"))
    assert decide_rounded(Fraction(45, 1000), limit, None) == "pass"  # 0.045 becomes 0.04


def test_the_absolute_method_does_not_round():
    assert decide(Fraction(Decimal("0.0549")), HUNDREDTHS, "simple", Fraction(0)) == "fail"


def test_a_place_of_the_profile_overrides_that_of_the_limit():
    assert decide_rounded(Fraction(Decimal("0.0549")), HUNDREDTHS, Decimal("0.001")) == "fail"
    assert decide_rounded(Fraction(Decimal("0.0504")), HUNDREDTHS, Decimal("0.001")) == "pass"


def test_each_side_is_rounded_to_its_own_place():
    limit = Interval(Fraction(-15, 10_000), Fraction(2, 1000), Decimal("0.0001"), Decimal("0.001"))
    assert decide_rounded(Fraction(Decimal("0.0024")), limit, None) == "pass"
    assert decide_rounded(Fraction(Decimal("-0.00154")), limit, None) == "pass"
    assert decide_rounded(Fraction(Decimal("-0.0016")), limit, None) == "fail"


def test_distance_is_to_the_nearest_limit_and_negative_outside():
    assert distance(Fraction(7), TWO_SIDED) == 3
    assert distance(Fraction(-12), TWO_SIDED) == -2
    assert distance(Fraction(-12), UPPER) == 22


def test_half_width_needs_two_sides():
    assert half_width(Interval(Fraction(-1), Fraction(4))) == Fraction(5, 2)
    assert half_width(UPPER) is None
    assert half_width(LOWER) is None


@pytest.mark.parametrize(
    ("value", "interval", "probability"),
    [  # standard uncertainty 5, normal
        (0.0, TWO_SIDED, 0.9544997361036416),  # within two standard deviations
        (10.0, UPPER, 0.5),
        (-10.0, LOWER, 0.5),
        (5.0, UPPER, 0.8413447460685429),  # Φ(1)
        (0.0, LOWER, 0.9772498680518208),  # Φ(2)
        (10.0, TWO_SIDED, 0.4999683287581669),  # Φ(0) - Φ(-4)
    ],
)
def test_conformance_probability_of_a_normal_value(value, interval, probability):
    found = conformance_probability(value, 5.0, inf, interval)
    assert found == pytest.approx(probability, rel=1e-12)


def test_conformance_probability_uses_the_t_distribution_scaled_by_u():
    # One degree of freedom is Cauchy's: P = [arctan(10/5) + arctan(10/5)]/π at the centre.
    found = conformance_probability(0.0, 5.0, 1, TWO_SIDED)
    assert found == pytest.approx(2 * atan(2) / pi, rel=1e-12)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("far", [8.0, 10.0, 20.0])
def test_far_outside_the_probability_stays_small_and_positive(side, far):
    # Ten and more standard deviations beyond: Φ(-far) to Φ(-far - 20), the second negligible.
    found = conformance_probability(side * (10.0 + far), 1.0, inf, TWO_SIDED)
    assert found == pytest.approx(norm.sf(far), rel=1e-9, abs=0)
    assert found > 0


def test_an_upside_down_tolerance_holds_nothing():
    assert conformance_probability(0.0, 1.0, inf, Interval(Fraction(1), Fraction(-1))) == 0.0
