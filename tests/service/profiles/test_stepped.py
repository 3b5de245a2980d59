"""Rectangular and normal deviations together: by hand, and by numerical integration."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtr

from weighworthy_service.metrology.limits import Interval
from weighworthy_service.profiles.stepped import bends_of, stepped

LOW, HIGH = -2.5, 3.5
ACCEPTED = Interval(Fraction("-2.5"), Fraction("3.5"))


@pytest.mark.parametrize(
    ("rectangular", "true", "expected"),
    [
        # One rectangle from -1/2 to 1/2: a quarter of it is beyond 3.5 where its middle is 3.25.
        (1, 3.25, 0.75),
        (1, 0, 1),
        (1, -3.1, 0),
        # Two make a triangle from -1 to 1: half of it below its middle, 1/8 beyond 1/2.
        (2, 3.5, 1 / 2),
        (2, 3, 7 / 8),
        # Three (Irwin-Hall): 1/6·(1/2)³ = 1/48 lies beyond 1, 1/6 beyond 1/2.
        (3, 2.5, 47 / 48),
        (3, -2, 5 / 6),
    ],
)
def test_without_a_normal_deviation(rectangular, true, expected) -> None:
    passes = stepped(ACCEPTED, 0, 1, rectangular)
    assert passes(np.array(float(true))) == pytest.approx(expected, abs=1e-5)


def integrated(standard, step, rectangular, true) -> float:
    """The normal probability, averaged over one rectangle after the other."""
    if rectangular == 0:
        return float(ndtr((HIGH - true) / standard) - ndtr((LOW - true) / standard))
    return (
        quad(
            lambda x: integrated(standard, step, rectangular - 1, true + x),
            -step / 2,
            step / 2,
            epsabs=1e-13,
        )[0]
        / step
    )


@pytest.mark.parametrize("true", [0.0, 2.9, -4.2])
@pytest.mark.parametrize("rectangular", [0, 1, 2])
@pytest.mark.parametrize(("standard", "step"), [(0.3, 1), (1, 1), (2, 0.2), (2, 0.05)])
def test_by_numerical_integration(standard, step, rectangular, true) -> None:
    found = stepped(ACCEPTED, standard, step, rectangular)(np.array(true))
    # 40 times the step is taken as smooth: the fourth cumulant is then 2·0.05⁴/120/2⁴ of it.
    assert found == pytest.approx(integrated(standard, step, rectangular, true), abs=1e-8)


def test_far_off_and_without_an_end() -> None:
    above = stepped(Interval(Fraction(-1), None), 0.4, 1, 1)
    assert above(np.array([-1e9, -1.0, 1e9])) == pytest.approx([0, 0.5, 1], abs=1e-12)
    below = stepped(Interval(None, Fraction(-1)), 0.4, 1, 3)
    assert below(np.array([-1e9, -1.0, 1e9])) == pytest.approx([1, 0.5, 0], abs=1e-12)
    crossed = Interval(Fraction(1), Fraction(-1))
    assert not stepped(crossed, 0.4, 1, 1)(np.array([0.0, 1.0])).any()


def test_small_chances_keep_their_digits() -> None:
    """Both tails alike: what is far below the lower limit is as rare as what is far above."""
    symmetric = stepped(Interval(Fraction(-2), Fraction(2)), 0.5, 1, 1)
    low, high = symmetric(np.array([-5.5, 5.5]))
    assert low == high
    expected = quad(lambda x: ndtr((-3.5 + x) / 0.5), -0.5, 0.5, epsabs=1e-18)[0]
    assert low == pytest.approx(expected, rel=1e-4)


def test_where_an_integral_must_look_closely() -> None:
    """The corners of a rectangle about each end, and about the ends themselves without one."""
    assert bends_of(ACCEPTED, 0.2, 1, 1) == [(-3, 0.2), (-2, 0.2), (3, 0.2), (4, 0.2)]
    assert bends_of(Interval(None, Fraction(2)), 0.2, 1, 0) == [(2, 0.2)]
