"""Histories of which the truth is known: what is claimed holds as often as is claimed.

Each is drawn with a seed: an error that begins at some value and changes by a known drift, read
with a normal scatter of 0.8 mg on a display of 1 mg, or of 0.01 mg. Counts of histories lie within
binomial bounds of 99.9 %.
"""

from datetime import timedelta

import numpy as np
import pytest

from weighworthy_service.logbook.drift.report import report

HISTORIES = 300
CHECKS = 30
SCATTER = 0.0008


def histories(make, drift, seed, scale_interval=0.001, start=0.0):
    """A month of daily checks each; g and days."""
    generator = np.random.default_rng(seed)
    for _ in range(HISTORIES):
        true = start + drift * np.arange(CHECKS)
        read = true + generator.normal(0, SCATTER, CHECKS)
        shown = np.round(read / scale_interval) * scale_interval
        (one,) = report(make.spans([float(value) for value in shown]))
        yield one


def expect(count, probability):
    """Within 3.3 standard deviations of the binomial distribution."""
    mean = HISTORIES * probability
    assert abs(count - mean) <= 3.3 * (mean * (1 - probability)) ** 0.5


@pytest.mark.parametrize("drift", [0.0, 0.00005, -0.0002])
def test_intervals_hold_the_injected_drift(make, drift) -> None:
    """95 % of them. On a display as coarse as the scatter no median of pairs claims anything."""
    held = 0
    for one in histories(make, drift, seed=170_25):
        rate = one.slope.least_squares
        held += rate.low <= drift <= rate.high
        assert one.slope.pairs is None
    expect(held, 0.95)


@pytest.mark.parametrize("drift", [0.0, 0.00005, -0.0002])
def test_on_a_fine_display_both_intervals_hold_it(make, drift) -> None:
    held = pairs_held = 0
    for one in histories(make, drift, seed=1968, scale_interval=0.00001):
        rate, pairs = one.slope.least_squares, one.slope.pairs
        held += rate.low <= drift <= rate.high
        pairs_held += pairs.low <= drift <= pairs.high
    expect(held, 0.95)
    expect(pairs_held, 0.95)


def test_without_a_drift_one_in_twenty_claims_one(make) -> None:
    claimed = sum(one.slope.least_squares.differs_from_zero for one in histories(make, 0.0, seed=7))
    expect(claimed, 0.05)


def test_a_plain_drift_is_found(make) -> None:
    """0.2 mg a day is twelve times u = 0.8 mg/√2247.5 a day, with 2247.5 = 30·(30² - 1)/12."""
    found = [one.slope.least_squares for one in histories(make, 0.0002, seed=11)]
    assert all(rate.differs_from_zero and rate.value > 0 for rate in found)


def test_the_instant_of_reaching_the_limit_is_held(make) -> None:
    """From 0 by 0.1 mg a day, 5 mg are reached 50 days after the first check; a month is seen."""
    reached, held = make.at(50), 0
    for one in histories(make, 0.0001, seed=13):
        seen = one.outlook.upper
        assert seen.earliest <= seen.estimate
        assert seen.latest is None or seen.estimate <= seen.latest
        held += seen.earliest <= reached and (seen.latest is None or reached <= seen.latest)
    expect(held, 0.95)


def test_downwards_it_is_held_too(make) -> None:
    reached = make.at(50)
    held = sum(
        one.outlook.lower.earliest <= reached
        and (one.outlook.lower.latest is None or reached <= one.outlook.lower.latest)
        for one in histories(make, -0.0001, seed=17)
    )
    expect(held, 0.95)


def speaks_at(one, test, position):
    """Whether a test speaks at that point, of which it may have begun to speak before."""
    return any(
        int(signal.entry[1:]) <= position < int(signal.entry[1:]) + signal.lasts
        for signal in one.chart.signals
        if signal.test == test
    )


def test_a_knock_is_found_at_its_check(make) -> None:
    """8 mg are ten times the scatter: every test speaks at once, and rule 1 seldom before."""
    early = 0
    for seed in range(50):
        generator = np.random.default_rng(seed)
        read = generator.normal(0, SCATTER, 40)
        read[30:] += 0.008
        shown = [float(value) for value in np.round(read, 3)]
        (one,) = report(make.spans(shown))
        for test in ("rule-1", "cusum", "ewma"):
            assert speaks_at(one, test, 30), (seed, test)
        early += speaks_at(one, "rule-1", 29)
    assert early <= 3


def test_the_instant_has_the_offset_of_the_log(make) -> None:
    (one,) = report(make.spans([0.0001 * i + (i % 2) * 0.0001 for i in range(12)]))
    assert one.outlook.upper.estimate.utcoffset() == timedelta(0)
