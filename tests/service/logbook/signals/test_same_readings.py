"""Chances of equal readings: the normal distribution by hand and by scipy, and simulated runs."""

import numpy as np
import pytest
from scipy.stats import binom, norm

from weighworthy_service.logbook.signals.same_readings import (
    chance_equal,
    chance_of_pairs,
    chance_of_run,
)


def test_two_equal_by_hand():
    """s = d, the value on a step: steps have 0.382925, 2 of 0.241730, 0.060598, 0.005977, …

    Their squares: 0.146632 + 2·(0.058434 + 0.003672 + 0.000036) = 0.270914.
    """
    assert chance_equal(2, 1) == pytest.approx(0.270914, abs=2e-6)
    # Many steps: near the integral of the squared density, 1/(2·√π·s).
    assert chance_equal(2, 20) == pytest.approx(1 / (2 * np.sqrt(np.pi) * 20), rel=2e-4)


def test_figures_of_the_page_for_people():
    """s = 0.7 d by hand: Φ(0.7143) - Φ(-0.7143) = 0.5249, next 0.2215, then 0.0159: 0.3742."""
    assert chance_equal(2, 0.7) == pytest.approx(0.3742, abs=3e-4)


@pytest.mark.parametrize("scatter", [0.2, 0.5, 0.7, 1.3, 4])
@pytest.mark.parametrize("times", [2, 3, 7])
def test_likeliest_place_against_scipy(scatter, times):
    found = []
    for place in np.linspace(-0.5, 0.5, 41):
        steps = np.arange(-60, 61)
        upper = norm.cdf(steps + 0.5, place, scatter)
        lower = norm.cdf(steps - 0.5, place, scatter)
        found.append(np.sum((upper - lower) ** times))
    assert chance_equal(times, scatter) == pytest.approx(max(found), rel=1e-4)
    assert chance_equal(times, scatter) >= max(found) - 1e-12


def test_no_scatter_to_speak_of_makes_all_equal():
    assert chance_equal(5, 0.02) == pytest.approx(1)


@pytest.mark.parametrize(("length", "readings"), [(4, 1), (2, 2), (3, 2)])
def test_runs_are_no_more_frequent_than_the_bound(length, readings):
    """10,000 seeded histories of 40 checks; four standard errors of a share are 0.02 at most."""
    chance = np.random.default_rng(4)
    shown = np.round(chance.normal(0, 1, (10_000, 40, readings)))
    same = np.all(shown[:, 1:] == shown[:, :-1], axis=2)
    runs = np.lib.stride_tricks.sliding_window_view(same, length - 1, axis=1).all(axis=2)
    share = np.mean(runs.any(axis=1))
    bound = chance_of_run(length, 40, 1, readings)
    assert share <= bound + 0.02
    if bound < 0.5:
        assert share > bound / 2


def test_bounds_of_runs():
    assert chance_of_run(1, 10, 0.7, 1) == 1
    assert chance_of_run(10, 10, 0.7, 2) == pytest.approx(chance_equal(10, 0.7) ** 2)


@pytest.mark.parametrize(("equal", "pairs"), [(1, 5), (5, 5), (12, 40)])
def test_pairs_against_scipy(equal, pairs):
    expected = binom.sf(equal - 1, pairs, chance_equal(2, 0.7) ** 2)
    assert chance_of_pairs(equal, pairs, 0.7, 2) == pytest.approx(expected, rel=1e-9)
    assert chance_of_pairs(0, pairs, 0.7, 2) == 1
