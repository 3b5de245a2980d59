"""Local times beside the library's, about every change of clocks; and what is done once."""

import struct
from datetime import UTC, datetime, timedelta, tzinfo
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from zoneinfo import TZPATH, ZoneInfo, available_timezones

import pytest

from weighworthy_service.tables.cells import CellFault
from weighworthy_service.tables.numbers import Marks
from weighworthy_service.tables.times import moments

MARKS = Marks(",", missing=frozenset())


def fault(read, cell) -> str:
    with pytest.raises(CellFault) as caught:
        read(cell)
    return caught.value.code


def test_the_days_of_a_zone_are_told_once_for_all_tables():
    """A table comes in pieces, each opened anew, and an archive has thousands of days."""
    looked = 0

    class Counted(tzinfo):
        def utcoffset(self, _):
            nonlocal looked
            looked += 1
            return timedelta(hours=1)

    zone = Counted()
    for _ in range(3):
        read = moments(["%d.%m.%Y %H:%M"], zone, MARKS)
        assert read("01.02.2026 08:00") == "2026-02-01T08:00:00+01:00"
        assert read("01.02.2026 09:00") == "2026-02-01T09:00:00+01:00"
    assert looked <= 4


def changes(name):
    """Of the offset of a zone, in seconds of the epoch, out of its file (RFC 9636)."""
    for folder in TZPATH:
        if (path := Path(folder) / name).is_file():
            raw = path.read_bytes()
            break
    else:
        raw = files("tzdata.zoneinfo").joinpath(name).read_bytes()

    def counts(at):
        return struct.unpack(">6l", raw[at + 20 : at + 44])

    utc, std, leap, times, types, letters = counts(0)
    second = 44 + times * 5 + types * 6 + letters + leap * 8 + std + utc
    times, types = counts(second)[3:5]
    at = second + 44
    when = struct.unpack(f">{times}q", raw[at : at + 8 * times])
    which = raw[at + 8 * times : at + 9 * times]
    at += 9 * times
    offsets = [struct.unpack(">l", raw[at + 6 * i : at + 6 * i + 4])[0] for i in range(types)]
    before = (offsets[0], *(offsets[one] for one in which))
    return [
        second for second, old, one in zip(when, before, which, strict=False) if offsets[one] != old
    ]


def test_no_two_changes_of_a_zone_lie_within_three_days():
    """By that a day is steady whose ends have the same offset, each only one."""
    found = {name: changes(name) for name in available_timezones()}
    assert sum(map(len, found.values())) > 10_000
    least = min(b - a for times in found.values() for a, b in pairwise(times))
    assert least > 3 * 24 * 3600


@pytest.mark.parametrize(
    "name", ["Europe/Berlin", "Australia/Lord_Howe", "Pacific/Apia", "Africa/Freetown", "Asia/Gaza"]
)
def test_about_every_change_times_are_those_of_the_library(name):
    zone = ZoneInfo(name)
    read = moments(["%Y-%m-%d %H:%M:%S"], zone, MARKS)
    for second in changes(name)[-40:]:
        middle = datetime.fromtimestamp(second, UTC).astimezone(zone).replace(tzinfo=None)
        for minutes in range(-48 * 60, 48 * 60, 17):
            local = middle + timedelta(minutes=minutes)
            early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
            text = local.isoformat(" ")
            if early.utcoffset() == late.utcoffset():
                if not early.utcoffset() % timedelta(minutes=1):
                    assert read(text) == early.isoformat()
            else:
                assert fault(read, text) in ("time-skipped", "time-twice")
