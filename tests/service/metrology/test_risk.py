"""Risks in cases that have an answer by hand or by a table of the normal distribution."""

from fractions import Fraction
from math import erf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.risk import (
    Population,
    acceptance_probability,
    averaged,
    blurred,
    global_risks,
    normal_population,
    passing,
    risks_of,
)


def interval(lower: str | None, upper: str | None) -> Interval:
    return Interval(lower and Fraction(lower), upper and Fraction(upper))


@pytest.mark.parametrize(
    ("true", "lower", "upper", "expected"),
    [
        # Tables of Φ: Φ(2) - Φ(-2) = 0.9545, Φ(1) = 0.8413, Φ(1) - Φ(-5) and so on.
        (0, "-2", "2", 0.9544997361),
        (1, None, "2", 0.8413447461),
        (3, None, "2", 0.1586552539),
        (3, "-2", "2", 0.1586549672),  # Φ(-1) - Φ(-5) = 0.1586552539 - 0.0000002867
        (0, "2", None, 0.0227501319),
        (0, None, None, 1),
        (0, "1", "-1", 0),
        (-12, "-2", "2", 7.619853e-24),  # Φ(-10): no digits lost in the far tail
        (12, "-2", "2", 7.619853e-24),
    ],
)
def test_acceptance_of_a_known_item(true, lower, upper, expected) -> None:
    found = acceptance_probability(true, 1, interval(lower, upper))
    assert found == pytest.approx(expected, rel=1e-6, abs=0 if expected < 1e-9 else 5e-11)


def test_unit_of_the_standard_deviation_matters_only_in_relation() -> None:
    in_g = acceptance_probability(0.001, 0.0005, interval("-0.0015", "0.0015"))
    in_mg = acceptance_probability(1, 0.5, interval("-1.5", "1.5"))
    assert in_g == pytest.approx(in_mg, rel=1e-12)


def test_uniform_population_by_hand() -> None:
    """Items spread evenly over (-2, 2), tolerance ±1, measured almost without error.

    Accepted up to 1.5: nonconforming and accepted are those from 1 to 1.5 on either side: 1/4.
    """
    even = Population(lambda values: np.full_like(values, 0.25), -2, 2)
    risks = global_risks(even, 1e-9, interval("-1", "1"), interval("-1.5", "1.5"))
    assert risks.consumer == pytest.approx(0.25, abs=1e-8)
    assert risks.producer == pytest.approx(0, abs=1e-8)
    guarded = global_risks(even, 1e-9, interval("-1", "1"), interval("-0.5", "0.5"))
    assert guarded.producer == pytest.approx(0.25, abs=1e-8)
    assert guarded.consumer == pytest.approx(0, abs=1e-8)


def test_all_outside_and_nothing_accepted() -> None:
    far = normal_population(10, 0.1)
    risks = global_risks(far, 1, interval("-1", "1"), interval("1", "-1"))
    assert (risks.consumer, risks.producer) == (0, 0)
    accepted = global_risks(far, 1, interval("-1", "1"), interval(None, None))
    assert accepted.consumer == pytest.approx(1, abs=1e-12)


@given(
    st.floats(0.01, 3),
    st.floats(0.01, 3),
    st.floats(-2, 2),
    st.floats(0.1, 2),
    st.floats(0.1, 2),
)
def test_the_four_outcomes_make_up_all_items(u0, u, mean, tolerance, acceptance) -> None:
    """Accepted items are known from the sum of two normal variables, whatever the tolerance."""
    t = Interval(Fraction(-tolerance), Fraction(tolerance))
    a = Interval(Fraction(-acceptance), Fraction(acceptance))
    risks = global_risks(normal_population(mean, u0), u, t, a)

    def phi(z: float) -> float:
        return (1 + erf(z / sqrt(2))) / 2

    spread = sqrt(u0**2 + u**2)
    conforming = phi((tolerance - mean) / u0) - phi((-tolerance - mean) / u0)
    accepted = phi((acceptance - mean) / spread) - phi((-acceptance - mean) / spread)
    # accepted = accepted and conforming + consumer; conforming = that + producer
    assert accepted - risks.consumer == pytest.approx(conforming - risks.producer, abs=2e-9)
    assert risks.consumer >= 0
    assert risks.producer >= -1e-12


WITHIN_2 = interval("-2", "2")
BENDS = [(-2.0, 1.0), (2.0, 1.0)]


def failing_once(standard: float, times: int):
    passes = passing(standard, WITHIN_2)
    return lambda off: 1 - passes(off) ** times


def test_at_least_once_without_a_shared_error() -> None:
    """P(|x| > 2) = 0.0455003; twelve times: 1 - exp(-12·0.0465679) = 0.42811."""
    found = averaged(failing_once(1, 12), 0, BENDS)
    assert found == pytest.approx(1 - 0.9544997361**12, abs=1e-9)
    assert found == pytest.approx(0.42811, abs=0.00001)


def test_at_least_once_with_a_shared_error_only() -> None:
    """If nothing but the shared error varies, repeating changes nothing: 0.0455 for any number."""
    bends = [(-2.0, 1e-6), (2.0, 1e-6)]
    once, often = (averaged(failing_once(1e-6, times), 1, bends) for times in (1, 365))
    assert once == pytest.approx(0.0455002639, abs=1e-7)
    assert often == pytest.approx(once, abs=1e-5)


def test_once_is_the_mean_over_all_shared_errors() -> None:
    """Errors 0.6 and 0.8 together make one of 1: P(|x| > 2) = 0.0455."""
    found = averaged(failing_once(0.6, 1), 0.8, BENDS)
    assert found == pytest.approx(0.0455002639, abs=1e-9)


def test_blurred_by_a_deviation_of_each_item() -> None:
    """0.6 blurred by 0.8 is 1: Φ(1) - Φ(-3) at 1 is 0.8413447 - 0.0013499."""
    at = np.array([0.0, 1.0])
    found = blurred(passing(0.6, WITHIN_2), 0.8)(at)
    assert found == pytest.approx([0.9544997, 0.8399948], abs=1e-7)
    assert blurred(passing(0.6, WITHIN_2), 0)(at) == pytest.approx(passing(0.6, WITHIN_2)(at))


def test_risks_with_any_probability_of_acceptance() -> None:
    """Half of all items lie outside, and half of any are accepted: a quarter each."""
    even = Population(lambda values: np.full_like(values, 0.25), -2, 2)
    risks = risks_of(even, lambda true: np.full_like(true, 0.5), interval("-1", "1"), [])
    assert risks.consumer == pytest.approx(0.25)
    assert risks.producer == pytest.approx(0.25)
