"""Local times as instants. The changes of clocks are those of the tz database: Europe/Berlin goes
from +01:00 to +02:00 on 2026-03-29 at 02:00 and back on 2026-10-25 at 03:00; Australia/Sydney from
+11:00 to +10:00 on 2026-04-05 at 03:00 and forth on 2026-10-04 at 02:00; Australia/Lord_Howe by
half an hour, from +10:30 to +11:00 on 2026-10-04 at 02:00. Apia had no 2011-12-30."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from weighworthy_service.logbook.local_time import first_instant
from weighworthy_service.time_zones import zone_of


@pytest.mark.parametrize(
    ("zone", "local", "utc"),
    [
        ("Europe/Berlin", "2026-03-16T06:00", "2026-03-16T05:00"),
        ("Europe/Berlin", "2026-07-01T06:00", "2026-07-01T04:00"),
        # Skipped: 02:00 to 03:00 became 03:00 at 01:00 UTC.
        ("Europe/Berlin", "2026-03-29T01:59:59", "2026-03-29T00:59:59"),
        ("Europe/Berlin", "2026-03-29T02:00", "2026-03-29T01:00"),
        ("Europe/Berlin", "2026-03-29T02:30", "2026-03-29T01:00"),
        ("Europe/Berlin", "2026-03-29T02:59:59.500000", "2026-03-29T01:00"),
        ("Europe/Berlin", "2026-03-29T03:00", "2026-03-29T01:00"),
        # Twice: 02:30 at +02:00 comes before 02:30 at +01:00.
        ("Europe/Berlin", "2026-10-25T02:30", "2026-10-25T00:30"),
        ("Europe/Berlin", "2026-10-25T03:00", "2026-10-25T02:00"),
        ("Australia/Sydney", "2026-04-05T02:30", "2026-04-04T15:30"),
        ("Australia/Sydney", "2026-10-04T02:30", "2026-10-03T16:00"),
        ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-03T15:30"),
        # The whole day was skipped, from -10:00 to +14:00, at its midnight: 10:00 UTC.
        ("Pacific/Apia", "2011-12-30T09:00", "2011-12-30T10:00"),
    ],
)
def test_a_local_time_is_placed_at_its_first_instant(zone, local, utc):
    expected = datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert first_instant(datetime.fromisoformat(local), ZoneInfo(zone)) == expected


@pytest.mark.parametrize("name", ["", "Kestrel/Mill", "/etc/passwd", "../x", "Europe", "\0", "+01"])
def test_what_is_no_zone_has_none(name):
    assert zone_of(name) is None


def test_a_zone_is_found_by_its_name():
    assert zone_of("Europe/Berlin") == ZoneInfo("Europe/Berlin")
