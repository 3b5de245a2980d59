"""Local times of a zone as instants, also where its clocks are changed."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

_SECOND = timedelta(seconds=1)


def first_instant(local: datetime, zone: ZoneInfo) -> datetime:
    """The instant in UTC at which clocks of the zone first show `local` (without offset) or, where
    they skip it, something later."""
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    after, before = first.astimezone(UTC), second.astimezone(UTC)
    if after < before:
        return after
    # The clocks were put forward between the two, at a whole second in the tz database.
    offset = before.astimezone(zone).utcoffset()
    while after - before > _SECOND:
        middle = before + (after - before) // _SECOND // 2 * _SECOND
        if middle.astimezone(zone).utcoffset() == offset:
            before = middle
        else:
            after = middle
    return after.replace(microsecond=0)
