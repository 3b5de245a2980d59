"""Slopes against formulas written out, and all pairs compared one by one."""

from itertools import combinations
from statistics import fmean, median

import numpy as np
import pytest

from weighworthy_service.logbook.drift.slope import (
    LEAST_POINTS,
    MOST_FOR_PAIRS,
    fit,
    instant,
    median_of_pairs,
    slope_of,
)

VALUES = [0.001, 0.001, 0.003, 0.002, 0.004, 0.003, 0.005, 0.004]
DAYS = [0.0, 1.0, 2.5, 3.0, 7.0, 8.0, 9.5, 10.0]


def test_least_squares_by_its_formulas(make) -> None:
    found = slope_of(make.points(VALUES, DAYS))
    x, y = fmean(DAYS), fmean(VALUES)
    sxx = sum((a - x) ** 2 for a in DAYS)
    slope = sum((a - x) * (b - y) for a, b in zip(DAYS, VALUES, strict=True)) / sxx
    left = sum((b - y - slope * (a - x)) ** 2 for a, b in zip(DAYS, VALUES, strict=True))
    u = (left / 6 / sxx) ** 0.5
    # Student's t for 95 % and 6 degrees of freedom, from any table.
    half = 2.446912 * u
    assert found.least_squares is not None
    assert found.least_squares.value == pytest.approx(slope, rel=1e-12)
    assert found.least_squares.low == pytest.approx(slope - half, rel=1e-6)
    assert found.least_squares.high == pytest.approx(slope + half, rel=1e-6)
    assert found.least_squares.differs_from_zero
    assert (found.points, found.span_days, found.confidence) == (8, 10.0, 0.95)


def test_band_by_the_covariance_of_a_polynomial_fit(make) -> None:
    """numpy's polyfit has the covariance of slope and intercept, by another way."""
    line = fit(DAYS, VALUES, 0.95)
    (slope, intercept), covariance = np.polyfit(DAYS, VALUES, 1, cov=True)
    for x in (-3.0, 0.0, 5.125, 40.0):
        assert line.at(x) == pytest.approx(intercept + slope * x, rel=1e-12)
        at = np.array([x, 1.0])
        assert line.half_width(x) == pytest.approx(2.446912 * (at @ covariance @ at) ** 0.5)


def test_median_of_pairs_by_comparing_all() -> None:
    pairs = median_of_pairs(DAYS, VALUES, 0.95)
    points = list(zip(DAYS, VALUES, strict=True))
    slopes = sorted((d - b) / (c - a) for (a, b), (c, d) in combinations(points, 2))
    assert pairs is not None
    assert pairs.value == pytest.approx(median(slopes), rel=1e-12)
    # Sen 1968: the ranks (N ± 1.96·σ)/2 of N = 28 slopes. σ² of Kendall's statistic for n = 8 is
    # 8·7·21/18, less 2·1·9/18 for each of the three pairs of equal values: 62.33, σ = 7.895.
    # (28 - 15.47)/2 = 6.26 and (28 + 15.47)/2 = 21.74, counted from one: the 6th and the 23rd.
    assert pairs.low == pytest.approx(slopes[5])
    assert pairs.high == pytest.approx(slopes[22])


def test_days_are_elapsed_time(make) -> None:
    """Twice as far apart, half as much a day."""
    near, far = (
        slope_of(make.points(VALUES, [d * factor for d in DAYS])).least_squares for factor in (1, 2)
    )
    assert near is not None
    assert far is not None
    assert far.value == pytest.approx(near.value / 2)
    assert far.high == pytest.approx(near.high / 2)


@pytest.mark.parametrize(
    ("values", "days", "code"),
    [
        ([0.001, 0.002, 0.001, 0.003, 0.002], None, "too-few-points"),
        ([0.001, 0.002, 0.001, 0.003, 0.002, 0.001], [3.0] * 6, "no-span"),
        ([0.001] * 6, None, "all-equal"),
        ([0.001], None, "too-few-points"),
    ],
)
def test_too_little_to_tell_a_slope(make, values, days, code) -> None:
    found = slope_of(make.points(values, days))
    assert (found.least_squares, found.pairs, found.line) == (None, None, None)
    assert [f.code for f in found.findings] == [code]


def test_six_points_tell_a_slope(make) -> None:
    assert LEAST_POINTS == 6
    found = slope_of(make.points([0.001, 0.002, 0.001, 0.003, 0.002, 0.001]))
    assert found.least_squares is not None
    assert not found.least_squares.differs_from_zero


@pytest.mark.parametrize(
    ("values", "warned"),
    [
        ([0.001] * 4 + [0.002] * 4, False),
        ([0.001] * 5 + [0.002] * 3, True),
    ],
)
def test_most_values_equal_is_a_warning(make, values, warned) -> None:
    codes = [f.code for f in slope_of(make.points(values)).findings]
    assert ("quantised" in codes) == warned


def test_one_wild_value_is_told(make) -> None:
    """A last value far off tilts least squares, not the median of pairs."""
    values = [0.0011, 0.0022, 0.001, 0.0019, 0.0013, 0.0021, 0.0012, 0.002, 0.0009, 0.0015]
    values += [0.006, 0.007]
    found = slope_of(make.points(values))
    assert found.least_squares is not None
    assert found.pairs is not None
    assert found.least_squares.differs_from_zero
    assert not found.pairs.differs_from_zero
    assert "slopes-disagree" in [f.code for f in found.findings]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        # One equal pair of 21 is 4.8 %, three equal values of seven are 3 pairs of 21.
        ([0.001, 0.001, 0.002, 0.003, 0.004, 0.005, 0.006], True),
        ([0.001, 0.001, 0.001, 0.003, 0.004, 0.005, 0.006], False),
    ],
)
def test_equal_pairs_leave_out_their_median(make, values, told) -> None:
    found = slope_of(make.points(values))
    assert (found.pairs is not None) == told
    said = [f.message for f in found.findings if f.code == "pairs-left-out"]
    assert len(said) == (not told)
    assert told or said[0].startswith("14% of all pairs")


def test_very_many_points_leave_out_the_pairs(make) -> None:
    generator = np.random.default_rng(5)
    values = [float(v) for v in generator.normal(0, 0.001, MOST_FOR_PAIRS + 1)]
    found = slope_of(make.points(values))
    assert found.least_squares is not None
    assert found.pairs is None
    assert [f.code for f in found.findings] == ["pairs-left-out"]
    assert slope_of(make.points(values[1:])).pairs is not None


def test_after_the_last_year_there_is_no_instant(make) -> None:
    assert instant(make.at(0), 1.5) == make.at(1.5)
    assert instant(make.at(0).replace(year=9999), 400) is None
