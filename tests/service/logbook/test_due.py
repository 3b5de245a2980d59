"""When the next check is due and overdue; calendar facts as in test_calendar."""

from datetime import UTC, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.logbook.calendar import WEEKDAYS, Calendar, Shift
from weighworthy_service.logbook.due import demands_of, earliest
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.profiles.document import Schedule

BERLIN = Calendar("Europe/Berlin", (Shift(WEEKDAYS[:5], time(6), time(22)),))
HOUR = Decimal(3600)


def at(text):
    return datetime.fromisoformat(text)


def due(checked_at, *schedules, calendar=BERLIN):
    """Due and overdue as texts, and the position of the rule that counts."""
    placed = tuple(Scheduled(one, str(i)) for i, one in enumerate(schedules))
    found = earliest(demands_of(Requirement("span", placed), calendar), at(checked_at))
    return found and (found.due_at.isoformat(), found.overdue_at.isoformat(), int(found.place))


@pytest.mark.parametrize(
    ("schedule", "due_at", "overdue_at"),
    [
        (Schedule("day", "first-use"), "2026-03-17T06:00:00+01:00", "2026-03-17T06:00:00+01:00"),
        # 06:00 + 4 h
        (
            Schedule("day", "first-use", 4 * HOUR),
            "2026-03-17T06:00:00+01:00",
            "2026-03-17T10:00:00+01:00",
        ),
        (Schedule("day"), "2026-03-17T06:00:00+01:00", "2026-03-17T22:00:00+01:00"),
        # The next week begins Monday 23rd and ends Friday 27th, 22:00; + 24 h
        (
            Schedule("week", None, 24 * HOUR),
            "2026-03-23T06:00:00+01:00",
            "2026-03-28T22:00:00+01:00",
        ),
        # Elapsed time: 07:00 + 36 h, + 30 min
        (
            Schedule("36 h", None, HOUR / 2),
            "2026-03-17T19:00:00+01:00",
            "2026-03-17T19:30:00+01:00",
        ),
    ],
)
def test_due_at_the_first_shift_and_overdue_after_grace(schedule, due_at, overdue_at):
    assert due("2026-03-16T07:00:00+01:00", schedule) == (due_at, overdue_at, 0)


def test_over_a_weekend_nothing_is_due():
    monday = "2026-03-23T06:00:00+01:00"
    assert due("2026-03-20T07:00:00+01:00", Schedule("day", "first-use")) == (monday, monday, 0)


def test_grace_runs_on_over_closed_days():
    # Friday 22:00 + 48 h, which no one works in.
    assert due("2026-03-19T07:00:00+01:00", Schedule("day", None, 48 * HOUR))[1] == (
        "2026-03-22T22:00:00+01:00"
    )


@pytest.mark.parametrize(
    ("checked_at", "due_at"),
    [
        # 24 h later clocks show an hour more in spring, an hour less in autumn; the instant counts.
        ("2026-03-28T08:00:00+01:00", "2026-03-29T07:00:00+00:00"),
        ("2026-10-24T08:00:00+02:00", "2026-10-25T06:00:00+00:00"),
    ],
)
def test_elapsed_time_does_not_follow_the_clocks(checked_at, due_at):
    found = due(checked_at, Schedule("24 h"), calendar=None)
    assert at(found[0]) == at(due_at)


def test_elapsed_time_in_a_zone_does_not_follow_its_clocks_either():
    checked = datetime(2026, 3, 28, 8, tzinfo=ZoneInfo("Europe/Berlin"))
    requirement = Requirement("span", (Scheduled(Schedule("24 h"), "0"),))
    found = earliest(demands_of(requirement, None), checked)
    assert found.due_at.astimezone(UTC) == datetime(2026, 3, 29, 7, tzinfo=UTC)


def test_grace_after_a_change_of_clocks_is_elapsed_time():
    # Sunday 2026-03-29: 06:00 and 22:00 at +02:00; Sunday night + 12 h = Monday 10:00.
    every_day = Calendar("Europe/Berlin", (Shift(WEEKDAYS, time(6), time(22)),))
    found = due("2026-03-28T08:00:00+01:00", Schedule("day", None, 12 * HOUR), calendar=every_day)
    assert found[:2] == ("2026-03-29T06:00:00+02:00", "2026-03-30T10:00:00+02:00")
    # From 2026-03-28 22:00 at +01:00, 12 h end at 11:00 at +02:00.
    saturday = due(
        "2026-03-27T08:00:00+01:00", Schedule("day", None, 12 * HOUR), calendar=every_day
    )
    assert at(saturday[1]) == at("2026-03-29T11:00:00+02:00")


def test_of_several_schedules_the_earliest_demand_counts():
    weekly, daily = Schedule("week"), Schedule("day", "first-use", 4 * HOUR)
    assert due("2026-03-16T07:00:00+01:00", weekly, daily) == (
        "2026-03-17T06:00:00+01:00",
        "2026-03-17T10:00:00+01:00",
        1,
    )
    # Due by the first, 8 h after 07:00; overdue by the second, the next morning.
    patient = Schedule("8 h", None, 48 * HOUR)
    assert due("2026-03-16T07:00:00+01:00", patient, daily) == (
        "2026-03-16T15:00:00+01:00",
        "2026-03-17T10:00:00+01:00",
        1,
    )


def test_a_schedule_of_occasions_has_no_time():
    assert due("2026-03-16T07:00:00+01:00", Schedule(after=("moved",)), calendar=None) is None


@pytest.mark.parametrize("every", ["day", "week", "month", "year"])
def test_a_period_without_a_calendar_is_refused_and_never_guessed(every):
    with pytest.raises(SenseError) as refused:
        due("2026-03-16T07:00:00+01:00", Schedule(every), calendar=None)
    (flaw,) = refused.value.flaws
    assert (flaw.path, flaw.code) == (("calendar",), "required")
    assert every in flaw.detail


@pytest.mark.parametrize(
    "schedule",
    [
        Schedule("999999999999 h"),
        Schedule("80000000 h"),  # some 9,000 years
        Schedule("1 h", None, Decimal(10) ** 15),
        Schedule("day", None, Decimal(10) ** 15),
    ],
)
def test_what_lies_beyond_all_dates_is_never_due(schedule):
    assert due("2026-03-16T07:00:00+01:00", schedule) is None


def test_parts_of_a_second_are_kept():
    assert due("2026-03-16T07:00:00+01:00", Schedule("0.5 s"))[0] == (
        "2026-03-16T07:00:00.500000+01:00"
    )
