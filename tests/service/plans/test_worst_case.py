"""The largest error of a result: corners by hand, and no drawn balance beyond them."""

from fractions import Fraction

import numpy as np
import pytest

from weighworthy_service.plans.worst_case import LeftOpen, Sample, worst_error

SAMPLE = Sample(Fraction(10), Fraction(9), "wet")


def test_each_alone_by_hand() -> None:
    """10 g that become 9 g. Points: 100·(9.005/9.995) - 90 and 90 - 100·(8.995/10.005), in %."""
    points = LeftOpen(points=Fraction("0.005"))
    assert float(worst_error(SAMPLE, points)) == pytest.approx(100 * 9.005 / 9.995 - 90)
    zero = LeftOpen(zero=Fraction("0.004"))
    assert worst_error(SAMPLE, zero) == Fraction("0.04")
    gain = LeftOpen(gain=Fraction("0.0001"))
    assert float(worst_error(SAMPLE, gain)) == pytest.approx(90 * (1.0001 / 0.9999 - 1))


@pytest.mark.parametrize("basis", ["wet", "dry"])
def test_no_balance_within_is_beyond(basis) -> None:
    sample = Sample(Fraction(5), Fraction(4), basis)
    open_ = LeftOpen(Fraction("0.02"), Fraction("0.03"), Fraction("0.002"))
    draw = np.random.default_rng(5)
    e0, e1, z, g0, g1 = draw.uniform(-1, 1, (5, 400_000)) * [
        [0.02],
        [0.02],
        [0.03],
        [0.002],
        [0.002],
    ]
    first, last = 5 * (1 + g0) + e0, 4 * (1 + g1) + e1 + z
    found = 100 * (first - last) / (first if basis == "wet" else last)
    worst = float(np.max(np.abs(found - float(sample.loss))))
    bound = float(worst_error(sample, open_))
    assert worst <= bound
    # And not far from it, so that the bound is one that is reached.
    assert worst > 0.8 * bound


def test_a_gain_that_stays_costs_nothing() -> None:
    """Whatever the gain, the loss of 10 g to 9 g is 10 %."""
    for gain in (Fraction("0.9"), Fraction("1.05")):
        assert Sample(10 * gain, 9 * gain, "wet").loss == SAMPLE.loss


def test_errors_as_large_as_the_sample() -> None:
    with pytest.raises(ValueError, match="as large as the sample"):
        worst_error(SAMPLE, LeftOpen(points=Fraction(10)))
