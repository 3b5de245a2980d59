"""Working days, weeks, months and years. 2026-03-16 is a Monday; 2026 has 53 ISO weeks, of which
the last is 12-28 to 01-03. Changes of clocks: see test_local_time."""

from datetime import UTC, date, datetime, time

import pytest

from weighworthy_service.logbook.calendar import (
    WEEKDAYS,
    Calendar,
    Closed,
    Open,
    Shift,
)

WORKDAYS = WEEKDAYS[:5]
DAYTIME = Shift(WORKDAYS, time(6), time(22))
NIGHT = Shift(WORKDAYS, time(22), time(6))
ROUND_THE_CLOCK = (
    Shift(WEEKDAYS, time(6), time(14)),
    Shift(WEEKDAYS, time(14), time(22)),
    Shift(WEEKDAYS, time(22), time(6)),
)


def at(text):
    return datetime.fromisoformat(text)


def berlin(*shifts, closed=(), opened=()):
    return Calendar("Europe/Berlin", shifts, closed, opened)


def span(period):
    """Start and end as a person of the site reads them."""
    return None if period is None else (period.starts.isoformat(), period.ends.isoformat())


@pytest.mark.parametrize(
    ("instant", "day"),
    [
        ("2026-03-16T07:00:00+01:00", 16),
        ("2026-03-16T06:00:00Z", 16),  # 07:00 there
        ("2026-03-16T22:00:00+01:00", 16),  # the end itself still counts for the day
        ("2026-03-16T22:00:01+01:00", 17),
        ("2026-03-17T05:50:00+01:00", 17),  # ten minutes before the first shift
        ("2026-03-20T22:30:00+01:00", 23),  # Friday night counts for Monday
        ("2026-03-22T12:00:00+01:00", 23),
    ],
)
def test_a_day_counts_from_the_end_of_the_one_before_to_its_own(instant, day):
    expected = (f"2026-03-{day}T06:00:00+01:00", f"2026-03-{day}T22:00:00+01:00")
    assert span(berlin(DAYTIME).periods("day").of(at(instant))) == expected


@pytest.mark.parametrize(
    ("instant", "starts", "ends"),
    [
        ("2026-03-17T03:00:00+01:00", "2026-03-16T22:00:00+01:00", "2026-03-17T06:00:00+01:00"),
        ("2026-03-21T03:00:00+01:00", "2026-03-20T22:00:00+01:00", "2026-03-21T06:00:00+01:00"),
        ("2026-03-21T06:00:00+01:00", "2026-03-20T22:00:00+01:00", "2026-03-21T06:00:00+01:00"),
        ("2026-03-21T06:00:01+01:00", "2026-03-23T22:00:00+01:00", "2026-03-24T06:00:00+01:00"),
    ],
)
def test_a_night_shift_belongs_to_the_day_on_which_it_began(instant, starts, ends):
    assert span(berlin(NIGHT).periods("day").of(at(instant))) == (starts, ends)


def test_days_around_the_clock_meet_at_the_first_shift():
    days = berlin(*ROUND_THE_CLOCK).periods("day")
    before, from_then_on = at("2026-03-17T05:59:59+01:00"), at("2026-03-17T06:00:00+01:00")
    assert days.of(before).starts == at("2026-03-16T06:00:00+01:00")
    assert days.of(from_then_on).starts == at("2026-03-17T06:00:00+01:00")
    assert days.after(before).starts == at("2026-03-17T06:00:00+01:00")


def test_an_early_shift_that_begins_within_the_night_shift_begins_its_day():
    early = berlin(NIGHT, Shift(WORKDAYS, time(5), time(13)))
    days = early.periods("day")
    assert days.of(at("2026-03-17T04:59:59+01:00")).starts == at("2026-03-16T05:00:00+01:00")
    assert days.of(at("2026-03-17T05:00:00+01:00")).starts == at("2026-03-17T05:00:00+01:00")
    assert days.of(at("2026-03-17T05:00:00+01:00")).ends == at("2026-03-18T06:00:00+01:00")


def test_without_shifts_days_are_those_of_the_date():
    days = berlin().periods("day")
    assert span(days.of(at("2026-03-22T23:59:59+01:00"))) == (
        "2026-03-22T00:00:00+01:00",
        "2026-03-23T00:00:00+01:00",
    )
    assert days.of(at("2026-03-23T00:00:00+01:00")).starts == at("2026-03-23T00:00:00+01:00")


def test_closed_days_ask_for_nothing():
    shutdown = berlin(DAYTIME, closed=(Closed(date(2026, 12, 24), date(2027, 1, 3)),))
    last = at("2026-12-23T07:00:00+01:00")  # a Wednesday
    assert shutdown.periods("day").after(last).starts == at("2027-01-04T06:00:00+01:00")
    # Nor does a week without any working day: week 53 is closed from end to end.
    assert shutdown.periods("week").after(last).starts == at("2027-01-04T06:00:00+01:00")


def test_the_night_that_began_before_a_closed_day_is_worked_to_its_end():
    days = berlin(NIGHT, closed=(Closed(date(2026, 3, 17), date(2026, 3, 17)),)).periods("day")
    assert days.of(at("2026-03-17T03:00:00+01:00")).ends == at("2026-03-17T06:00:00+01:00")
    assert days.after(at("2026-03-17T03:00:00+01:00")).starts == at("2026-03-18T22:00:00+01:00")


@pytest.mark.parametrize("closed", [(), (Closed(date(2026, 12, 1), date(2026, 12, 31)),)])
def test_an_open_day_has_the_shifts_of_another_weekday_whatever_is_closed(closed):
    short = Shift(("fri",), time(6), time(14))
    extra = Open(date(2026, 12, 19), date(2026, 12, 19), "fri")  # a Saturday
    calendar = berlin(Shift(WORKDAYS[:4], time(6), time(22)), short, closed=closed, opened=(extra,))
    assert span(calendar.periods("day").of(at("2026-12-19T07:00:00+01:00"))) == (
        "2026-12-19T06:00:00+01:00",
        "2026-12-19T14:00:00+01:00",
    )


def test_an_open_day_can_make_a_weekday_shorter():
    short = Open(date(2026, 3, 17), date(2026, 3, 17), "sat")
    calendar = berlin(DAYTIME, Shift(("sat",), time(8), time(12)), opened=(short,))
    assert span(calendar.periods("day").of(at("2026-03-17T07:00:00+01:00"))) == (
        "2026-03-17T08:00:00+01:00",
        "2026-03-17T12:00:00+01:00",
    )


@pytest.mark.parametrize(
    ("every", "instant", "starts", "ends"),
    [
        ("week", "2026-03-18T07:00:00+01:00", "2026-03-23T06:00:00+01:00", "2026-03-27T22:00"),
        # Done on Saturday, it counts for the week that comes.
        ("week", "2026-03-21T07:00:00+01:00", "2026-03-30T06:00:00+02:00", "2026-04-03T22:00"),
        ("month", "2026-01-15T07:00:00+01:00", "2026-02-02T06:00:00+01:00", "2026-02-27T22:00"),
        ("year", "2026-01-15T07:00:00+01:00", "2027-01-01T06:00:00+01:00", "2027-12-31T22:00"),
    ],
)
def test_longer_periods_are_made_of_their_working_days(every, instant, starts, ends):
    period = berlin(DAYTIME).periods(every).after(at(instant))
    assert period.starts.isoformat() == starts
    assert period.ends.isoformat()[:16] == ends


def test_a_night_across_the_end_of_a_month_belongs_to_the_month_in_which_it_began():
    months = berlin(NIGHT).periods("month")
    night = at("2027-01-01T03:00:00+01:00")  # of Thursday, 2026-12-31
    assert months.of(night).starts == at("2026-12-01T22:00:00+01:00")
    assert berlin(NIGHT).periods("year").after(night).starts == at("2027-01-01T22:00:00+01:00")


def test_shifts_last_as_long_as_the_clocks_make_them():
    nights = berlin(Shift(WEEKDAYS, time(22), time(6))).periods("day")
    spring = nights.of(at("2026-03-29T01:00:00+01:00"))
    autumn = nights.of(at("2026-10-25T01:00:00+02:00"))
    assert span(spring) == ("2026-03-28T22:00:00+01:00", "2026-03-29T06:00:00+02:00")
    assert (spring.ends - spring.starts).total_seconds() == 7 * 3600
    assert span(autumn) == ("2026-10-24T22:00:00+02:00", "2026-10-25T06:00:00+01:00")
    assert (autumn.ends - autumn.starts).total_seconds() == 9 * 3600


def test_a_start_in_the_skipped_hour_moves_to_its_end_and_in_the_double_hour_to_the_first():
    early = Calendar("Europe/Berlin", (Shift(WEEKDAYS, time(2, 30), time(10)),)).periods("day")
    assert early.of(at("2026-03-29T04:00:00+02:00")).starts == at("2026-03-29T01:00:00Z")
    assert early.of(at("2026-10-25T04:00:00+01:00")).starts == at("2026-10-25T00:30:00Z")


def test_the_same_in_the_south():
    early = Calendar("Australia/Sydney", (Shift(WEEKDAYS, time(2, 30), time(10)),)).periods("day")
    assert early.of(at("2026-10-04T04:00:00+11:00")).starts == at("2026-10-03T16:00:00Z")
    assert early.of(at("2026-04-05T04:00:00+10:00")).starts == at("2026-04-04T15:30:00Z")


def test_a_shift_that_the_clocks_skip_asks_for_nothing():
    short = berlin(Shift(WEEKDAYS, time(2, 10), time(2, 50))).periods("day")
    assert short.after(at("2026-03-28T02:20:00+01:00")).starts == at("2026-03-30T00:10:00Z")


@pytest.mark.parametrize("every", ["day", "week", "month", "year"])
def test_a_site_that_never_opens_has_no_periods(every):
    shut = berlin(DAYTIME, closed=(Closed(date(1, 1, 1), date(9999, 12, 31)),))
    assert shut.periods(every).of(at("2026-03-16T07:00:00+01:00")) is None
    assert shut.periods(every).after(at("2026-03-16T07:00:00+01:00")) is None


@pytest.mark.parametrize("every", ["day", "week", "month", "year"])
@pytest.mark.parametrize(
    "instant", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "1700-06-01T00:00:00Z"]
)
def test_the_ends_of_the_calendar_do_no_harm(every, instant):
    berlin(DAYTIME).periods(every).after(at(instant))


def test_the_offset_of_old_local_times_has_seconds_and_is_not_shown():
    period = berlin(DAYTIME).periods("day").of(at("1800-01-01T12:00:00Z"))
    assert period.starts.tzinfo == UTC


def test_periods_are_made_once():
    calendar = berlin(DAYTIME)
    assert calendar.periods("day") is calendar.periods("day")


def test_flaws_name_their_place():
    calendar = Calendar(
        "Kestrel/Mill",
        closed=(Closed(date(2026, 1, 2), date(2026, 1, 1)),),
        open=(
            Open(date(2026, 1, 2), date(2026, 1, 2), "fri"),
            Open(date(2026, 1, 2), date(2026, 1, 1), "fri"),
        ),
    )
    assert [(flaw.path, flaw.code) for flaw in calendar.flaws()] == [
        (("time_zone",), "not-one-of"),
        (("closed", 0, "to"), "out-of-range"),
        (("open", 1, "to"), "out-of-range"),
    ]
    assert list(berlin(DAYTIME).flaws()) == []


def test_two_days_that_a_date_is_open_like_are_refused():
    march = date(2026, 3, 2), date(2026, 3, 8)
    both = berlin(DAYTIME, opened=(Open(*march, "mon"), Open(date(2026, 3, 8), march[1], "tue")))
    (flaw,) = both.flaws()
    assert (flaw.path, flaw.code) == (("open", 1, "like"), "contradiction")
    assert flaw.detail == "2026-03-08 is open like tue, and like mon"
    same = berlin(DAYTIME, opened=(Open(*march, "mon"), Open(*march, "mon")))
    apart = berlin(DAYTIME, opened=(Open(*march, "mon"), Open(date(2026, 3, 9), at_day(9), "tue")))
    assert [*same.flaws(), *apart.flaws()] == []


def at_day(day):
    return date(2026, 3, day)


def test_open_like_a_day_without_shifts_is_refused():
    (flaw,) = berlin(DAYTIME, opened=(Open(at_day(2), at_day(8), "sun"),)).flaws()
    assert (flaw.path, flaw.code) == (("open", 0, "like"), "contradiction")
    assert list(berlin(opened=(Open(at_day(2), at_day(8), "sun"),)).flaws()) == []


def test_a_shift_whose_end_is_its_begin_lasts_a_whole_day():
    long = berlin(Shift(("mon",), time(6), time(6)))
    monday = ("2026-03-16T06:00:00+01:00", "2026-03-17T06:00:00+01:00")
    assert span(long.periods("day").of(at("2026-03-17T05:00:00+01:00"))) == monday
