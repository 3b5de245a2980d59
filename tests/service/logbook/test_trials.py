"""Which checks count as trials of an interval, and from when it ran."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.reliability import Trial
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.trials import history, interval_of
from weighworthy_service.profiles.document import Schedule

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
DAY = 86_400.0


def said(found=True, usable=None, check="span", verdict="pass", adjusted=False):
    left = found if usable is None else usable
    return CheckSaid(check, verdict, left, found, None, adjusted, True)


def entry(name, day, kind="check", what=None):
    return Entry(
        name, kind, START + timedelta(days=day), "MA-41", said=what if kind == "check" else None
    )


def trials(*entries, occasions=()):
    return history(entries, "span", occasions)


def apart(found, why):
    return tuple(check.entry for check in found.apart if check.why == why)


def test_from_check_to_check_and_from_an_adjustment():
    found = trials(
        entry("a", 0, what=said()),
        entry("b", 7, what=said()),
        entry("c", 10, "adjustment"),
        entry("d", 14, what=said(False)),
    )
    assert found.trials == (Trial("b", "a", 7 * DAY, True), Trial("d", "c", 4 * DAY, False))
    assert apart(found, "not-from-tolerance") == ("a",)


def test_a_repeat_after_a_failure_is_none_until_something_restored_it():
    found = trials(
        entry("a", 0, what=said()),
        entry("b", 7, what=said(False)),
        entry("c", 8, what=said(False)),
        entry("d", 9, what=said()),
        entry("e", 16, what=said()),
        entry("f", 17, what=said(False)),
        entry("g", 18, "service"),
        entry("h", 19, what=said()),
    )
    assert [t.entry for t in found.trials] == ["b", "e", "f", "h"]
    assert [t.since for t in found.trials] == ["a", "d", "e", "g"]
    assert apart(found, "not-from-tolerance") == ("a", "c", "d")


def test_a_check_that_adjusted_ends_one_interval_and_begins_the_next():
    found = trials(
        entry("a", 0, what=said()),
        entry("b", 7, what=said(False, usable=True, adjusted=True)),
        entry("c", 14, what=said()),
    )
    assert found.trials == (Trial("b", "a", 7 * DAY, False), Trial("c", "b", 7 * DAY, True))


def test_void_checks_others_and_checks_that_say_nothing_before():
    found = trials(
        entry("a", 0, what=said()),
        entry("v", 3, what=said(verdict="void", usable=False)),
        entry("n", 4, what=said(verdict=None)),
        entry("l", 5, what=said(check="linearity")),
        entry("b", 6, what=said(None, usable=True)),
        entry("c", 13, what=said()),
        entry("d", 13, what=said()),
    )
    assert found.trials == (Trial("c", "b", 7 * DAY, True),)
    assert apart(found, "says-nothing-before") == ("b",)
    assert apart(found, "not-from-tolerance") == ("a",)
    # At the same instant nothing had time to change.
    assert apart(found, "no-time-between") == ("d",)


def test_a_check_that_an_event_asked_for_is_no_trial_of_the_interval():
    entries = (
        entry("a", 0, what=said()),
        entry("m", 2, "move"),
        entry("b", 2.1, what=said(False)),
        entry("j", 2.2, "adjustment"),
        entry("c", 2.3, what=said()),
        entry("d", 9.3, what=said()),
    )
    asked = trials(*entries, occasions={"moved", "after-adjustment"})
    assert [t.entry for t in asked.trials] == ["d"]
    assert apart(asked, "after-event") == ("b", "c")
    assert [check.event for check in asked.apart if check.event] == ["m", "j"]
    # A schedule that asks nothing after them leaves such failures to the interval.
    assert [t.entry for t in trials(*entries).trials] == ["b", "c", "d"]


def requirement(*every):
    return Requirement("span", tuple(Scheduled(Schedule(e), "p /rules/0") for e in every))


@pytest.mark.parametrize(
    ("every", "days"),
    [(("day",), 1), (("week",), 7), (("year",), 365.25), (("36 h",), 1.5), (("week", "day"), 1)],
)
def test_interval_of_a_schedule(every, days):
    assert interval_of(requirement(*every)) == days * DAY


def test_interval_of_a_month_and_of_none():
    assert interval_of(requirement("month")) == pytest.approx(30.4375 * DAY)
    after = Scheduled(Schedule(grace=Decimal(60), after=("moved",)), "p /rules/0")
    assert interval_of(Requirement("span", (after,))) is None
