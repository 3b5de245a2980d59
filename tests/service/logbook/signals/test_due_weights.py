"""Weights near and past their due date."""

from datetime import UTC, date, datetime

import pytest

from weighworthy_service.logbook.signals.due_weights import due_weights

AT = datetime(2026, 4, 1, 12, tzinfo=UTC)  # 30 days after the Monday of `entry`


def names(found):
    return [(one.state, one.weight, one.days_left) for one in found]


def test_near_and_past_the_last_day_inside(entry):
    log = [
        entry("a", 20, weights_due={"H2": "2026-03-31", "H10": "2026-04-01", "H20": "2026-05-01"}),
        entry("b", 21, weights_due={"H50": "2026-05-02"}),
    ]
    found = due_weights({"MA-41": log}, AT)
    assert names(found) == [("past-due", "H2", -1), ("due-soon", "H10", 0), ("due-soon", "H20", 30)]
    assert found[0].sentence == "The weight H2 was due on 2026-03-31; it is used on MA-41."
    assert found[0].due_on == date(2026, 3, 31)
    assert names(due_weights({"MA-41": log}, AT, within=31))[-1] == ("due-soon", "H50", 31)


def test_the_last_check_on_each_balance_counts(entry):
    logs = {
        "MA-41": [
            entry("a", 1, weights_due={"H50": "2026-03-20"}),
            entry("b", 2, weights_due={"H50": "2027-03-20"}),
        ],
        "MA-42": [entry("c", 1, instrument="MA-42", weights_due={"H50": "2026-03-20"})],
        "MA-43": [entry("d", 3, instrument="MA-43", weights_due={"H50": "2026-03-20"})],
    }
    (found,) = due_weights(logs, AT)
    assert (found.instruments, found.entries) == (("MA-42", "MA-43"), ("c", "d"))
    assert found.last_used == logs["MA-43"][0].at


@pytest.mark.parametrize(("used_within", "seen"), [(29, 0), (30, 1)])
def test_weights_out_of_use_are_left_out(entry, used_within, seen):
    log = [entry("a", 0.25, weights_due={"H50": "2026-03-20"}), entry("b", 29)]
    assert len(due_weights({"MA-41": log}, AT, used_within=used_within)) == seen


def test_later_entries_are_left_out(entry):
    log = [entry("a", 31, weights_due={"H50": "2026-03-20"})]
    assert due_weights({"MA-41": log}, AT) == ()


def test_simulated_mill(mill):
    """The set that came in October is due on 20 April; the first one was due before."""
    logs, _ = mill(1, balances=2)
    at = max(entry.at for entry in logs["MA-41"])
    assert {(one.weight, one.state) for one in due_weights(logs, at)} == {
        (f"H{nominal}", "due-soon") for nominal in (2, 10, 20, 50)
    }
