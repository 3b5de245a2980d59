"""The exponential model against scipy, arithmetic by hand, and histories of known rate."""

from math import exp, inf, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import binomtest, chi2, chi2_contingency

from weighworthy_service.logbook.reliability import (
    Bounds,
    Trial,
    kept,
    probability_alike,
    rate,
    share,
)

DAY = 86_400.0


def trials(*pairs):
    """(days, in tolerance) of each."""
    return [Trial(f"e{i}", "s", days * DAY, good) for i, (days, good) in enumerate(pairs)]


def of_equal(days, passed, failed):
    return trials(*[(days, True)] * passed, *[(days, False)] * failed)


@pytest.mark.parametrize(
    ("passed", "total"), [(0, 1), (1, 1), (0, 12), (12, 12), (7, 9), (95, 100), (2, 250)]
)
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_share_is_that_of_scipy(passed, total, confidence):
    expected = binomtest(passed, total).proportion_ci(confidence, "exact")
    found = share(passed, total, confidence)
    assert found.value == passed / total
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_no_failure_gives_an_upper_bound_by_hand():
    """30 days without failure: λ <= -ln(0.05)/30 = 0.0998577 per day.

    A reliability of 95 % is then kept for at least 0.0512933/0.0998577 = 0.513664 days.
    """
    found = rate(trials((5, True), (10, True), (15, True)), 0.95)
    assert found[:2] == (0, 0)
    assert found.high * DAY == pytest.approx(0.0998577, rel=1e-6)
    keeps = kept(found, 0.95)
    assert keeps.low / DAY == pytest.approx(0.513664, rel=1e-5)
    assert (keeps.value, keeps.high) == (inf, inf)


def test_equal_intervals_by_hand():
    """18 of 20 good after 7 days: exp(-7λ) = 0.9, λ = 0.1053605/7 per day.

    95 % are kept for 7·0.0512933/0.1053605 = 3.40785 days. The bounds are those of the share p in
    18·ln(p/0.9) + 2·ln((1 - p)/0.1) = -3.8414588/2, which is solved here for p, not for λ.
    """
    found = rate(of_equal(7, 18, 2), 0.95)
    assert found.value * DAY == pytest.approx(0.1053605 / 7, rel=1e-6)
    assert kept(found, 0.95).value / DAY == pytest.approx(3.40785, rel=1e-5)

    def below(p):
        return 18 * log(p / 0.9) + 2 * log((1 - p) / 0.1) + 3.8414588 / 2

    least, most = brentq(below, 0.5, 0.9), brentq(below, 0.9, 0.9999)
    assert exp(-found.high * 7 * DAY) == pytest.approx(least, rel=1e-6)
    assert exp(-found.low * 7 * DAY) == pytest.approx(most, rel=1e-6)


def test_only_failures_by_hand():
    """3·ln(1 - exp(-λ)) = -1.9207294: λ = -ln(1 - exp(-0.6402431)) = 0.749007 per day."""
    found = rate(of_equal(1, 0, 3), 0.95)
    assert (found.value, found.high) == (inf, inf)
    assert found.low * DAY == pytest.approx(0.749007, rel=1e-5)
    assert kept(found, 0.95).low == 0


@pytest.mark.parametrize("seed", range(6))
def test_any_intervals_by_a_general_maximiser(seed):
    chance = np.random.default_rng(seed)
    days = chance.uniform(0.5, 40, 50)
    good = chance.random(50) < np.exp(-days / 60)
    some = trials(*zip(days, good, strict=True))
    assert 0 < sum(good) < 50

    def minus(log_rate):
        p = np.exp(-np.exp(log_rate) * days)
        return -np.sum(np.where(good, np.log(p), np.log1p(-p)))

    best = minimize_scalar(minus, bounds=(log(1e-5), log(10)), method="bounded")
    found = rate(some, 0.9)
    assert found.value * DAY == pytest.approx(exp(best.x), rel=1e-3)
    for end in (found.low, found.high):
        ratio = 2 * (minus(log(end * DAY)) - minus(log(found.value * DAY)))
        assert ratio == pytest.approx(chi2.ppf(0.9, 1), rel=1e-6)
    assert found.low < found.value < found.high


def test_very_different_intervals_do_not_overflow():
    found = rate(trials((1e-3, True), (1e-3, False), (3000, False), (2, True)), 0.95)
    assert 0 < found.low < found.value < found.high < inf


def test_no_trials_know_nothing():
    assert rate([], 0.95) == Bounds(0, 0, inf)


def test_groups_alike_is_the_g_test_where_intervals_are_equal():
    table = [[18, 2], [12, 8], [19, 1]]
    groups = [of_equal(7, *row) for row in table]
    expected = chi2_contingency(table, correction=False, lambda_="log-likelihood")
    assert probability_alike(groups) == pytest.approx(expected.pvalue, rel=1e-9)
    assert probability_alike(groups[:1]) is None
    assert probability_alike([groups[0], []]) is None
    assert probability_alike([of_equal(7, 5, 0), of_equal(7, 9, 0)]) == 1


@pytest.mark.parametrize(("per_day", "confidence"), [(1 / 100, 0.95), (1 / 30, 0.9)])
def test_bounds_hold_the_true_rate_as_often_as_they_say(per_day, confidence):
    """400 seeded histories of 60 checks; three standard errors of such a share are 0.033, 0.045.

    An approximate interval of few failures, and one-sided without any, so no less is asked.
    """
    chance = np.random.default_rng(11)
    held = 0
    for _ in range(400):
        days = chance.choice([1.0, 3.0, 7.0, 14.0], 60)
        good = chance.random(60) < np.exp(-per_day * days)
        found = rate(trials(*zip(days, good, strict=True)), confidence)
        held += found.low <= per_day / DAY <= found.high
    three = 3 * (confidence * (1 - confidence) / 400) ** 0.5
    assert held / 400 == pytest.approx(confidence, abs=three)


@given(
    st.lists(st.tuples(st.floats(1e-8, 1e5), st.booleans()), min_size=1, max_size=30),
    st.floats(0.5, 0.999),
)
def test_bounds_enclose_the_estimate_whatever_the_history(pairs, confidence):
    found = rate(trials(*pairs), confidence)
    assert 0 <= found.low <= found.value <= found.high
    failures = sum(not good for _, good in pairs)
    assert (found.value > 0) == (failures > 0)
    assert (found.value == inf) == (failures == len(pairs))
    keeps = kept(found, 0.95)
    assert 0 <= keeps.low <= keeps.value <= keeps.high
