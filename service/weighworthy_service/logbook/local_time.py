"""Local times of a zone as instants, also where its clocks are changed."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

_SECOND = timedelta(seconds=1)


def zone_of(name: str) -> ZoneInfo | None:
    """The zone of an IANA name; None for any other text."""
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, LookupError):
        return None


def first_instant(local: datetime, zone: ZoneInfo) -> datetime:
    """The instant in UTC at which clocks of the zone first show `local` (without offset) or, where
    they skip it, something later."""
    earlier, later = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if earlier <= later:
        return earlier
    # The clocks were put forward between the two, which is whole seconds in the tz database.
    before, after = later, earlier
    offset = before.astimezone(zone).utcoffset()
    while after - before > _SECOND:
        middle = before + (after - before) // _SECOND // 2 * _SECOND
        if middle.astimezone(zone).utcoffset() == offset:
            before = middle
        else:
            after = middle
    return after.replace(microsecond=0)
