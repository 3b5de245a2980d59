"""When the next check is due, and from when on it is overdue, after one that was valid and passed.

A check in a day, week, month or year satisfies that period. The next working one asks for another
at the start of its first shift; overdue is what has not been done by then plus grace where the
schedule says first use, else by the end of its last shift plus grace. Every other time runs from
the check itself, on no calendar, and grace on top. Overdue begins after the moment told: at that
moment itself the check before is still in force.
"""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from weighworthy_service.checks.flaws import Flaw, SenseError
from weighworthy_service.logbook.calendar import PERIODS, Calendar, Periods
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.metrology.quantity import EXACT, read_quantity


class Due(NamedTuple):
    """The next check: due from `due_at`, overdue after `overdue_at`, and the place of the rule."""

    due_at: datetime
    overdue_at: datetime
    place: str
    said: str


class Demand:
    """One schedule with `every`, and the calendar by which it counts."""

    def __init__(self, scheduled: Scheduled, every: str, calendar: Calendar | None) -> None:
        """Raises `SenseError` at a period without a calendar: which days are meant is not known."""
        schedule = scheduled.schedule
        self.place = scheduled.place
        self._first_use = schedule.at == "first-use"
        self._grace = _duration(schedule.grace or Decimal(0))
        self._periods: Periods | None = None
        self._elapsed: timedelta | None = None
        if every in PERIODS:
            if calendar is None:
                raise SenseError(calendar_flaws([scheduled]))
            self._periods = calendar.periods(every)
        else:
            self._elapsed = _duration(read_quantity(every, "time", "positive"))
        graced = f", grace {_in_words(schedule.grace)}" if schedule.grace else ""
        first = " by first use" if self._first_use else ""
        self._said = f"every {every}{first}{graced}"

    def after(self, checked_at: datetime) -> Due | None:
        """The next check after a valid one that passed; None: none, as far as the calendar goes."""
        try:
            if self._periods is not None:
                return self._after_period(self._periods, checked_at)
            if self._elapsed is None or self._grace is None:
                return None
            due_at = _later(checked_at, self._elapsed)
            return Due(due_at, _later(due_at, self._grace), self.place, self._said)
        except OverflowError:  # beyond the year 9999
            return None

    def outside(self, checked_at: datetime) -> bool:
        """Whether a check lies outside the shifts of the period that it counts for."""
        if self._periods is None:
            return False
        period = self._periods.of(checked_at)
        return period is None or not period.starts <= checked_at <= period.ends

    def never_open(self, checked_at: datetime) -> bool:
        """Whether no working period after a check is in sight."""
        return self._periods is not None and self._periods.after(checked_at) is None

    def _after_period(self, periods: Periods, checked_at: datetime) -> Due | None:
        period = periods.after(checked_at)
        if period is None or self._grace is None:
            return None
        last = period.starts if self._first_use else period.ends
        return Due(period.starts, _later(last, self._grace), self.place, self._said)


def demands_of(requirement: Requirement, calendar: Calendar | None) -> tuple[Demand, ...]:
    """Of every schedule that names a period or a time; raises as `Demand` does."""
    return tuple(
        Demand(one, one.schedule.every, calendar)
        for one in requirement.schedules
        if one.schedule.every is not None
    )


def earliest(demands: Iterable[Demand], checked_at: datetime) -> Due | None:
    """The demand that first makes a check overdue; it is due as soon as any of them is."""
    found = [due for demand in demands if (due := demand.after(checked_at)) is not None]
    if len(found) < 2:
        return found[0] if found else None
    first = min(found, key=lambda due: (due.overdue_at, due.due_at))
    return first._replace(due_at=min(due.due_at for due in found))


def calendar_flaws(schedules: Iterable[Scheduled]) -> Iterator[Flaw]:
    """Of schedules by calendar periods, where there is no calendar."""
    for one in schedules:
        every = one.schedule.every
        if every in PERIODS:
            yield Flaw(
                ("calendar",),
                "required",
                f"{one.place} asks for a check every {every}: which {every}s are worked in, and "
                "when they begin, only a calendar says",
            )


def _later(instant: datetime, by: timedelta) -> datetime:
    """Elapsed time, whatever the clocks do; in the offset of the instant."""
    return (instant.astimezone(UTC) + by).astimezone(instant.tzinfo)


def _duration(seconds: Decimal) -> timedelta | None:
    """None: longer than any time between two dates."""
    try:
        return timedelta(microseconds=int(seconds.scaleb(6, EXACT)))
    except OverflowError:
        return None


def _in_words(seconds: Decimal) -> str:
    hours = Fraction(seconds) / 3600
    return f"{hours} h" if hours.denominator == 1 else f"{seconds:f} s"
