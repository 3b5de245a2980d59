"""The working time of a site, and the days, weeks, months and years in which a check is asked for.

A working day is named by the local date on which its first shift begins. What is done after the
last shift of the working day before counts for it, up to the end of its own last shift; where that
end comes after the first shift of the next working day begins, or with it, the next begins there.
A week (ISO 8601, from Monday), month or year is made of its working days; without any it asks for
nothing.

Local times are placed by the tz database. One that the clocks skipped counts as the first instant
after the change; of one that passed twice, the first counts.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import cached_property, lru_cache
from itertools import groupby
from types import MappingProxyType
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.logbook.local_time import first_instant
from weighworthy_service.time_zones import zone_of

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
PERIODS: Final[Mapping[str, Callable[[date], tuple[int, ...]]]] = MappingProxyType(
    {
        "day": lambda day: (day.toordinal(),),
        "week": lambda day: day.isocalendar()[:2],
        "month": lambda day: (day.year, day.month),
        "year": lambda day: (day.year,),
    }
)
_DAY: Final = timedelta(days=1)
# Beyond, a site that never opens again would be searched to the end of the calendar.
_YEARS_AHEAD: Final = 3
_YEARS_KEPT: Final = 64


class Shift(NamedTuple):
    """Local working time on weekdays; with `end` not later than `begin` it ends the next day,
    so that with both alike it lasts 24 h."""

    days: tuple[str, ...]
    begin: time
    end: time


class Closed(NamedTuple):
    """Dates, both included, on which no shift begins."""

    first: date
    last: date


class Open(NamedTuple):
    """Dates, both included, with the shifts of the weekday `like`, whatever the rest says."""

    first: date
    last: date
    like: str


class Period(NamedTuple):
    """A working day, week, month or year: the start of its first shift, the end of its last."""

    starts: datetime
    ends: datetime


ALL_DAY: Final = Shift(WEEKDAYS, time(), time())


@dataclass(frozen=True)
class Calendar:
    """When a site works. Without shifts: all day, every day that is not closed."""

    time_zone: str
    shifts: tuple[Shift, ...] = ()
    closed: tuple[Closed, ...] = ()
    open: tuple[Open, ...] = ()

    def flaws(self) -> Iterator[Flaw]:
        """What cannot be, with paths from the root of the calendar."""
        if zone_of(self.time_zone) is None:
            yield Flaw(("time_zone",), "not-one-of", "no IANA time zone, like Europe/Berlin")
        spans = [(("closed", i), (one.first, one.last)) for i, one in enumerate(self.closed)]
        spans += [(("open", i), (one.first, one.last)) for i, one in enumerate(self.open)]
        for path, (first, last) in spans:
            if last < first:
                yield Flaw((*path, "to"), "out-of-range", "is before `from`")
        worked = {day for shift in self.shifts or (ALL_DAY,) for day in shift.days}
        latest: dict[str, date] = {}
        for i, one in sorted(enumerate(self.open), key=lambda placed: placed[1].first):
            if one.like not in worked:
                yield Flaw(("open", i, "like"), "contradiction", f"no shift is on {one.like}")
            for like, last in latest.items():
                if like != one.like and last >= one.first:
                    said = f"{one.first} is open like {one.like}, and like {like}"
                    yield Flaw(("open", i, "like"), "contradiction", said)
            latest[one.like] = max(one.last, latest.get(one.like, one.last))

    @cached_property
    def zone(self) -> ZoneInfo:
        """Of the time zone; a calendar with flaws has none (`ValueError`)."""
        zone = zone_of(self.time_zone)
        if zone is None:
            raise ValueError(self.time_zone)
        return zone

    def periods(self, every: str) -> "Periods":
        """The days, weeks, months or years; one object, however often it is asked for."""
        if every not in self._periods:
            self._periods[every] = Periods(self, every)
        return self._periods[every]

    def local(self, instant: datetime) -> datetime:
        """The same instant with the offset that clocks of the site show."""
        offset = instant.astimezone(self.zone).utcoffset() or timedelta()
        # RFC 3339 has no offsets with seconds, as local mean times had.
        return instant.astimezone(UTC if offset.seconds % 60 else timezone(offset))

    def working_days(self, year: int) -> tuple[tuple[date, Period], ...]:
        """The working days of a year in order, with their shifts in UTC."""
        return self._working_days(year)

    @cached_property
    def _periods(self) -> dict[str, "Periods"]:
        return {}

    @cached_property
    def _working_days(self) -> Callable[[int], tuple[tuple[date, Period], ...]]:
        return lru_cache(_YEARS_KEPT)(self._days_of)

    def _days_of(self, year: int) -> tuple[tuple[date, Period], ...]:
        begin, end = date(year, 1, 1), date(year, 12, 31)
        of_weekday = {
            name: [shift for shift in self.shifts or (ALL_DAY,) if name in shift.days]
            for name in WEEKDAYS
        }
        shut = {day for span in self.closed for day in _dates(span.first, span.last, begin, end)}
        like = {
            day: span.like
            for span in self.open
            for day in _dates(span.first, span.last, begin, end)
        }
        found = []
        for day in _dates(begin, end, begin, end):
            if day in shut and day not in like:
                continue
            shifts = of_weekday[like.get(day) or WEEKDAYS[day.weekday()]]
            placed = [span for shift in shifts if (span := self._placed(day, shift))]
            if placed:
                starts = min(span.starts for span in placed)
                found.append((day, Period(starts, max(span.ends for span in placed))))
        return tuple(found)

    def _placed(self, day: date, shift: Shift) -> Period | None:
        """None where the clocks skipped the whole shift."""
        starts = first_instant(datetime.combine(day, shift.begin), self.zone)
        last_day = day if shift.end > shift.begin else day + _DAY
        ends = first_instant(datetime.combine(last_day, shift.end), self.zone)
        return Period(starts, ends) if starts < ends else None


class Periods:
    """The working periods of one length, found by bisection; a year is worked out when needed."""

    def __init__(self, calendar: Calendar, every: str) -> None:
        self._calendar, self._key = calendar, PERIODS[every]
        self._around = lru_cache(_YEARS_KEPT)(self._search)

    def of(self, instant: datetime) -> Period | None:
        """The period for which something done at an instant counts; None: none near."""
        return self._counted(instant, 0)

    def after(self, instant: datetime) -> Period | None:
        """The next working period after `of(instant)`; None: none near."""
        return self._counted(instant, 1)

    def _counted(self, instant: datetime, later: int) -> Period | None:
        periods, ends = self._around(min(max(instant.year, 3), 9990))
        position = bisect_left(ends, instant)
        while position + 1 < len(periods) and periods[position + 1].starts <= instant:
            position += 1
        position += later
        if position >= len(periods):
            return None
        starts, last = periods[position]
        return Period(self._calendar.local(starts), self._calendar.local(last))

    def _search(self, year: int) -> tuple[list[Period], list[datetime]]:
        """Periods around a year: from the year before, for a period may begin there, to as many
        ahead as it takes to see two that begin after it; a third, for the last may be cut off."""
        days: list[tuple[date, Period]] = []
        periods: list[Period] = []
        for present in range(year - 1, year + _YEARS_AHEAD + 1):
            days += self._calendar.working_days(present)
            if present <= year:
                continue
            groups = groupby(days, key=lambda one: self._key(one[0]))
            periods = [_union([period for _, period in group]) for _, group in groups]
            if sum(period.starts.year > year for period in periods[-4:]) > 2:
                break
        return periods, [period.ends for period in periods]


def _union(days: Sequence[Period]) -> Period:
    return Period(days[0].starts, max(day.ends for day in days))


def _dates(first: date, last: date, begin: date, end: date) -> Iterator[date]:
    """The dates of both spans."""
    for ordinal in range(max(first, begin).toordinal(), min(last, end).toordinal() + 1):
        yield date.fromordinal(ordinal)
