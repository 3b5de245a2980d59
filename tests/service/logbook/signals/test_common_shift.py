"""A common shift and the scatter about it: by hand, by scipy, and as often as they say."""

from math import exp, sqrt

import numpy as np
import pytest
from scipy.stats import binomtest, f_oneway, norm, ttest_1samp

from weighworthy_service.logbook.signals.common_shift import (
    Shift,
    chance_of_scatter,
    chance_of_signs,
    chance_without_any,
    common,
)

KNOWN = 1e12


def test_known_uncertainties_by_hand():
    """Shifts 1, 2, 3 with u = 1: mean 2, u 1/√3, two-sided 2Φ(-2√3); Σ(x - 2)² = 2, exp(-2/2)."""
    shifts = [Shift(value, 1, KNOWN) for value in (1, 2, 3)]
    found = common(shifts)
    assert found[:2] == pytest.approx((2, 1 / sqrt(3)))
    assert found.chance == pytest.approx(2 * norm.cdf(-2 * sqrt(3)), rel=1e-6)
    assert chance_of_scatter(shifts) == pytest.approx(exp(-1), rel=1e-6)


def test_weights_by_hand():
    """1 with u = 1 and 4 with u = 2: (1 + 4/4)/(1 + 1/4) = 1.6, u = √0.8."""
    found = common([Shift(1, 1, KNOWN), Shift(4, 2, KNOWN)])
    assert found[:2] == pytest.approx((1.6, sqrt(0.8)))


def test_estimated_uncertainties_by_hand():
    """Two alike, ν = 8: parts 1/2, so 4·2·(1/2·1/2/8) = 1/4 more variance: u² = 1.25/2; ν = 16."""
    found = common([Shift(1, 1, 8), Shift(1, 1, 8)])
    assert found.u == pytest.approx(sqrt(0.625))
    assert found.degrees_of_freedom == pytest.approx(16)


def test_one_alone_is_a_t_test():
    sample = np.array([0.3, 1.2, 0.7, -0.1, 0.9])
    u = np.std(sample, ddof=1) / sqrt(5)
    found = common([Shift(float(np.mean(sample)), float(u), 4)])
    assert found.chance == pytest.approx(ttest_1samp(sample, 0).pvalue, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_scatter_is_the_test_of_scipy(seed):
    chance = np.random.default_rng(seed)
    groups = [chance.normal(0.3 * i, 1 + i, 4 + 2 * i) for i in range(2 + seed)]
    shifts = [
        Shift(float(np.mean(g)), float(np.std(g, ddof=1) / sqrt(len(g))), len(g) - 1)
        for g in groups
    ]
    expected = f_oneway(*groups, equal_var=False).pvalue
    assert chance_of_scatter(shifts) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("up", "down", "zero"), [(4, 0, 0), (5, 2, 1), (0, 7, 0), (3, 3, 0)])
def test_signs_against_scipy(up, down, zero):
    values = [1.0] * up + [-1.0] * down + [0.0] * zero
    found = chance_of_signs([Shift(value, 1, 8) for value in values])
    assert found == pytest.approx(binomtest(up, up + down).pvalue, rel=1e-9)


def test_no_signs_at_all():
    assert chance_of_signs([Shift(0, 1, 8)] * 3) == 1


def test_without_the_one_that_carries_it():
    shifts = [Shift(0.1, 1, 8), Shift(-0.2, 1, 8), Shift(3, 0.2, 8)]
    assert common(shifts).chance < 1e-6
    assert chance_without_any(shifts) == common(shifts[:2]).chance > 0.9


def test_chances_are_as_frequent_as_they_say():
    """2,000 seeded groups of 5 balances of unlike scatter, five checks on each side, none moved.

    Three standard errors of five in a hundred are 0.015. The approximations of Meier and Welch are
    near, not exact, at these degrees of freedom: 0.01 more is left to them.
    """
    chance = np.random.default_rng(21)
    means = scatters = 0
    for _ in range(2000):
        shifts = []
        for scale in (1, 1, 2, 3, 5):
            sides = chance.normal(0, scale, (2, 5))
            pooled = np.sqrt(np.mean(np.var(sides, axis=1, ddof=1)))
            shifts.append(
                Shift(float(np.mean(sides[1]) - np.mean(sides[0])), float(pooled * sqrt(2 / 5)), 8)
            )
        means += common(shifts).chance <= 0.05
        scatters += chance_of_scatter(shifts) <= 0.05
    assert means / 2000 == pytest.approx(0.05, abs=0.025)
    assert scatters / 2000 == pytest.approx(0.05, abs=0.025)
