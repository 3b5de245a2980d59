"""The offset to UTC of local times, in zones whose clocks are changed.

A local time that the change of clocks skipped, or let pass twice, is refused: no rule can know
which was meant.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from weighworthy_service.tables.cells import CellFault
from weighworthy_service.tables.formats import Moment

# Days of all tables together, and hours of days on which clocks are changed.
_KEPT: Final = 8192


def placing(zone: ZoneInfo | None) -> Callable[[Moment], str]:
    """Puts date, time and offset together, the offset from the zone where the cell has none.

    What it gives back raises `CellFault` where a part is missing or the local time has no one
    offset.
    """

    def place(moment: Moment) -> str:
        day, clock, offset = moment.day, moment.time, moment.offset
        if day is None:
            raise CellFault("date-missing", "the cell holds a time of day without a date")
        if clock is None:
            raise CellFault("time-missing", "the cell holds a date without a time of day")
        if offset is None:
            if zone is None:
                raise CellFault(
                    "offset-missing", "a local time; state its `time_zone` in the mapping"
                )
            offset = (
                through_day(zone, day)
                or _through_hour(zone, day, int(clock[:2]))
                or _exact(day, clock, zone)
            )
        return f"{day.isoformat()}T{clock}{offset}"

    return place


@lru_cache(maxsize=_KEPT)
def through_day(zone: ZoneInfo, day: date) -> str | None:
    """The offset to UTC that holds through a day, like `+01:00`, if one does."""
    return _steady(zone, day, time.min, time.max)


@lru_cache(maxsize=_KEPT)
def _through_hour(zone: ZoneInfo, day: date, hour: int) -> str | None:
    """The offset that holds through an hour of the local clock, if one does."""
    return _steady(zone, day, time(hour), time.max.replace(hour=hour))


def _steady(zone: ZoneInfo, day: date, first: time, last: time) -> str | None:
    """The offset that holds between two times of a day, if one does. In the tz database no two
    changes of a zone lie within three days, so none can hide between the two."""
    offset = _offset(datetime.combine(day, first), zone)
    return offset if offset == _offset(datetime.combine(day, last), zone) else None


def _exact(day: date, clock: str, zone: ZoneInfo) -> str:
    local = datetime.combine(day, time.fromisoformat(clock))
    offset = _offset(local, zone)
    if offset is not None:
        return offset
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    shown = f"{day.isoformat()} {clock}"
    if first.utcoffset() == second.utcoffset():
        raise CellFault(
            "malformed-time", f"{shown}: the offset to UTC in {zone.key} has no whole minutes"
        )
    if _exists(local, zone):
        raise CellFault(
            "time-twice",
            f"{shown} passed twice in {zone.key}, when the clocks were put back; "
            "only an offset in the cell can tell which is meant",
        )
    raise CellFault(
        "time-skipped", f"{shown} never was in {zone.key}: the clocks were put forward over it"
    )


def _offset(local: datetime, zone: ZoneInfo) -> str | None:
    """The one offset of a local time; None where it has none or two, or no whole minutes."""
    there = local.replace(tzinfo=zone)
    first, second = there.utcoffset(), there.replace(fold=1).utcoffset()
    if first is None or first != second or first.total_seconds() % 60:
        return None
    minutes = round(first.total_seconds()) // 60
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def _exists(local: datetime, zone: ZoneInfo) -> bool:
    there = local.replace(tzinfo=zone).astimezone(UTC)
    return there.astimezone(zone).replace(tzinfo=None) == local
