"""Chances of limits on a scatter, against scipy's distributions and a simulation."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from weighworthy_service.checks.repeatability.chances import chances
from weighworthy_service.metrology.limits import Interval

BALANCE = {"repeatability": "0.0009"}


def passing(make, name, limit, off, n=10):
    of = chances(make.balance(**BALANCE), n)[name]
    interval = Interval(None, Fraction(limit))
    passes = of.passes(interval, (True, True), Decimal("0.001"), 0.0)
    return float(passes(np.array(off)))


def test_a_balance_in_order_that_fails_a_tight_limit(make):
    # P(s <= 1 mg) of ten, if the balance has 0.9 mg: P(χ² of 9 <= 9/0.81).
    expected = stats.chi2.cdf(9 / 0.81, 9)
    assert passing(make, "standard_deviation", "0.001", 0.0) == pytest.approx(expected, rel=1e-12)
    assert 1 - expected == pytest.approx(0.27, abs=0.01)


@pytest.mark.parametrize("off", [0.0015, -0.0015])
def test_a_balance_that_is_off_scatters_by_so_much(make, off):
    expected = stats.chi2.cdf(9 / 2.25, 9)
    assert passing(make, "standard_deviation", "0.001", off) == pytest.approx(expected, rel=1e-12)
    # 2000 times the same.
    mass = passing(make, "smallest_net_mass", "2", 2000 * off)
    assert mass == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("n", "limit"), [(2, "0.001"), (10, "0.003"), (10, "0.004")])
def test_range(make, n, limit):
    expected = stats.studentized_range.cdf(float(limit) / 0.0009, n, np.inf)
    assert passing(make, "range", limit, 0.0, n) == pytest.approx(expected, abs=1e-6)


def test_range_simulated(make):
    drawn = np.random.default_rng(5).normal(0, 0.0009, (200_000, 10))
    share = np.mean(np.ptp(drawn, axis=1) <= 0.003)
    # Standard deviation of a share of 200,000: 0.001.
    assert passing(make, "range", "0.003", 0.0) == pytest.approx(share, abs=0.005)


def test_rounding_is_the_least_scatter(make):
    of = chances(make.balance(), 10)
    d = Decimal("0.001")
    assert of["standard_deviation"].rounding(d) == Fraction(41, 100_000)
    assert of["smallest_net_mass"].rounding(d) == Fraction(82, 100)
    assert of["range"].rounding(d) == 0
