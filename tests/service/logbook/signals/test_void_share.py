"""Shares of void checks: Fisher's test by scipy, what counts as one check, and false alarms."""

from datetime import timedelta, timezone

import numpy as np
import pytest
from scipy.stats import fisher_exact

from weighworthy_service.logbook.signals.holm import holm
from weighworthy_service.logbook.signals.void_share import void_shares


@pytest.fixture
def history(entry):
    """One check a day by persons in turn; void on the given days."""

    def make(days, void, people=("A. Brook", "C. Field"), instrument="MA-41"):
        return [
            entry(
                f"{instrument}-{day}",
                day,
                by=people[day % len(people)],
                instrument=instrument,
                verdict="void" if day in void else "pass",
            )
            for day in range(days)
        ]

    return make


def test_chances_are_those_of_scipy_and_holm(history):
    logs = {
        "MA-41": history(60, {0, 2, 4, 8, 12}),
        "MA-42": history(50, {1}, instrument="MA-42"),
    }
    found = {(one.side, one.group): one for one in void_shares(logs)}
    assert len(found) == 2 + 2 + 7
    brook, second = found["person", "A. Brook"], found["instrument", "MA-42"]
    assert (brook.void, brook.checks, brook.void_others, brook.checks_others) == (5, 55, 1, 55)
    assert (second.void, second.checks, second.void_others, second.checks_others) == (1, 50, 5, 60)
    for one in found.values():
        table = [
            [one.void, one.checks - one.void],
            [one.void_others, one.checks_others - one.void_others],
        ]
        expected = fisher_exact(table, alternative="greater").pvalue
        assert one.chance == pytest.approx(expected, rel=1e-9)
    assert [one.adjusted for one in void_shares(logs)] == pytest.approx(
        holm([one.chance for one in void_shares(logs)])
    )
    assert brook.entries == ("MA-41-0", "MA-41-2", "MA-41-4", "MA-41-8", "MA-41-12")
    assert not any(one.stands_out for one in found.values())


def test_what_stands_out_is_told_with_its_figures(history):
    logs = {
        "MA-41": history(40, set(range(0, 40, 4))),
        "MA-42": history(40, (), instrument="MA-42"),
    }
    first, *_ = void_shares(logs)
    # 10 of 40 by A. Brook or on MA-41, none of 40 others: 40!·70!/(30!·80!) = 0.000515 by hand.
    assert first.chance == pytest.approx(0.000515, rel=2e-3)
    assert first.stands_out
    assert first.sentence.startswith(
        "10 of 40 checks on MA-41 were void, and 0 of 40 of the others"
    )


def test_repeats_of_a_day_are_no_news(entry):
    log = [
        entry("a", 0, by="A. Brook", verdict="void"),
        entry("b", 0.01, by="A. Brook", verdict="void"),
        entry("c", 0.02, by="A. Brook", verdict="pass"),
        entry("d", 0.03, by="A. Brook", check="linearity", verdict="void"),
        entry("e", 1, by="C. Field", verdict=None),
        entry("f", 1.1, by="C. Field"),
        entry("g", 2),
    ]
    found = {one.group: one for one in void_shares({"MA-41": log})}
    assert (found["A. Brook"].void, found["A. Brook"].checks) == (2, 2)
    assert (found["C. Field"].void, found["C. Field"].checks) == (0, 1)
    assert found["A. Brook"].entries == ("a", "d")
    # The entry without a person counts for its weekday, and one balance has no others beside it.
    assert found["wed"].checks == 1
    assert "MA-41" not in found


def test_void_checks_that_would_have_failed_are_counted(entry):
    log = [
        entry("a", 0, by="A. Brook", verdict="void", would_let_use=False),
        entry("b", 1, by="A. Brook", verdict="void", would_let_use=True),
        entry("c", 2, by="C. Field"),
    ]
    found = {one.group: one for one in void_shares({"MA-41": log})}
    assert found["A. Brook"].would_have_failed == 1
    assert found["A. Brook"].sentence.endswith("; 1 of them would have failed.")


def test_the_weekday_is_that_of_the_local_date(entry):
    """23:30 UTC on a Monday is Tuesday one hour east."""
    late = entry("a", 0).at.replace(hour=23, minute=30)
    moved = late.astimezone(timezone(timedelta(hours=1)))
    log = [entry("a", 0)._replace(at=moved), entry("b", 5)]
    assert {one.group for one in void_shares({"MA-41": log})} == {"tue", "sat"}


def test_nothing_is_said_of_nothing():
    assert void_shares({}) == ()
    assert void_shares({"MA-41": []}) == ()


def test_false_alarms_are_no_more_frequent_than_the_level(history):
    """200 seeded histories of two balances in which every check is void with 6 %.

    Five in a hundred would be 10; three standard errors are 9 more.
    """
    chance = np.random.default_rng(6)
    alarms = 0
    for _ in range(200):
        logs = {
            name: history(120, set(np.flatnonzero(chance.random(120) < 0.06)), instrument=name)
            for name in ("MA-41", "MA-42")
        }
        alarms += any(one.stands_out for one in void_shares(logs))
    assert alarms <= 19


def test_the_balance_in_the_draught_of_a_simulated_mill(mill):
    logs, _ = mill(1, void_balance="MA-43", void_there=0.1)
    standing_out = [one for one in void_shares(logs) if one.stands_out]
    assert standing_out[0].group == "MA-43"
