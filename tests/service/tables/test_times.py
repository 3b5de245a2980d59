"""Expected offsets and changes of clocks: the rules of the European Union (last Sundays of March
and October at 01:00 UTC, directive 2000/84/EC, from memory) and Lord Howe Island's half hour."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy_service.tables.cells import CellFault, ErrorCell, NumberCell, TimeCell
from weighworthy_service.tables.numbers import Marks
from weighworthy_service.tables.times import days, moments

COMMA = Marks(",", missing=frozenset({"---"}))
BERLIN = ZoneInfo("Europe/Berlin")
GERMAN = ["%d.%m.%Y %H:%M"]


def fault(read, *cells) -> str:
    with pytest.raises(CellFault) as caught:
        read(*cells)
    return caught.value.code


@pytest.mark.parametrize(
    ("text", "formats", "meant"),
    [
        ("01.03.2026 08:15", GERMAN, "2026-03-01T08:15:00+01:00"),
        ("1.7.2026 8:15", GERMAN, "2026-07-01T08:15:00+02:00"),
        ("01.03.2026  08:15", GERMAN, "2026-03-01T08:15:00+01:00"),
        ("03/04/2026 08:15", ["%m/%d/%Y %H:%M"], "2026-03-04T08:15:00+01:00"),
        ("03/04/2026 08:15", ["%d/%m/%Y %H:%M"], "2026-04-03T08:15:00+02:00"),
        ("4-Mar-26 8:15:30 PM", ["%d-%b-%y %I:%M:%S %p"], "2026-03-04T20:15:30+01:00"),
        ("4 March 2026 12:05 a.m.", ["%d %B %Y %I:%M %p"], "2026-03-04T00:05:00+01:00"),
        ("20260304081530", ["%Y%m%d%H%M%S"], "2026-03-04T08:15:30+01:00"),
        ("04.03.2026 08:15:30,250", ["%d.%m.%Y %H:%M:%S,%f"], "2026-03-04T08:15:30.250+01:00"),
        ("04.03.2026 08:15 -0500", ["%d.%m.%Y %H:%M %z"], "2026-03-04T08:15:00-05:00"),
        ("2026-03-04T08:15:30Z", GERMAN, "2026-03-04T08:15:30Z"),
        ("2026-03-04 08:15", [], "2026-03-04T08:15:00+01:00"),
        ("2026-03-04T08:15", [], "2026-03-04T08:15:00+01:00"),
        ("2026-10-25T02:30+01:00", [], "2026-10-25T02:30:00+01:00"),
        (TimeCell("2026-03-04T08:15:00"), GERMAN, "2026-03-04T08:15:00+01:00"),
        (TimeCell("2026-03-04T08:15:00"), [], "2026-03-04T08:15:00+01:00"),
    ],
)
def test_a_moment_in_one_cell(text, formats, meant):
    assert moments(formats, BERLIN, COMMA)(text) == meant


# 2026-03-04 is day 46085 of the 1900 system: date(2026, 3, 4) - date(1899, 12, 30) = 46085 days,
# and 1462 days fewer in the 1904 system. 0.34375 of a day is 8.25 h.
@pytest.mark.parametrize(
    ("cell", "system"),
    [
        (NumberCell("46085.34375"), "excel"),
        (NumberCell("44623.34375"), "excel-1904"),
        ("46085,34375", "excel"),
        # 08:15:00.0000003, off by less than the last digit that a workbook stores.
        (NumberCell("46085.343750000004"), "excel"),
    ],
)
def test_serial_numbers_where_the_mapping_says_so(cell, system):
    assert (date(2026, 3, 4) - date(1899, 12, 30)).days == 46085
    assert moments([system], BERLIN, COMMA)(cell) == "2026-03-04T08:15:00+01:00"
    assert fault(moments(GERMAN, BERLIN, COMMA), cell) == "malformed-time"


@pytest.mark.parametrize("serial", ["-1", "59.5", "2958466", "1e30"])
def test_serial_numbers_that_are_no_sure_day(serial):
    assert fault(moments(["excel"], BERLIN, COMMA), NumberCell(serial)) == "malformed-date"


@pytest.mark.parametrize(
    ("cells", "formats"),
    [
        (("04.03.2026", "08:15"), GERMAN),
        (("2026-03-04", "08:15:00"), GERMAN),
        ((TimeCell("2026-03-04T00:00:00"), TimeCell("08:15:00")), GERMAN),
        ((TimeCell("2026-03-04"), TimeCell("1899-12-30T08:15:00")), []),
        ((TimeCell("2026-03-04T00:00:00"), "8:15"), GERMAN),
        ((NumberCell("46085"), NumberCell("0.34375")), ["excel"]),
        ((NumberCell("46085"), NumberCell("46085.34375")), ["excel"]),
    ],
)
def test_date_and_time_in_two_cells(cells, formats):
    assert moments(formats, BERLIN, COMMA, 2)(*cells) == "2026-03-04T08:15:00+01:00"


def test_midnight_in_a_column_of_times_is_a_time():
    read = moments(["excel"], BERLIN, COMMA, 2)
    assert read(NumberCell("46085"), NumberCell("0")) == "2026-03-04T00:00:00+01:00"


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        (("04.03.2026", ""), "time-missing"),
        (("", "08:15"), "date-missing"),
        ((TimeCell("2026-03-04T07:00:00"), TimeCell("08:15:00")), "malformed-time"),
        ((TimeCell("2026-03-04"), TimeCell("2026-03-05T08:15:00")), "date-differs"),
    ],
)
def test_half_a_moment_is_a_fault(cells, code):
    assert fault(moments(GERMAN, BERLIN, COMMA, 2), *cells) == code


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("31.02.2026 08:15", "malformed-date"),
        ("01.03.2026 25:15", "malformed-date"),
        ("01.03.2026", "malformed-time"),
        ("2026-03-01", "time-missing"),
        (TimeCell("2026-03-01"), "time-missing"),
        (TimeCell("2026-03-01T00:00:00"), "time-missing"),
        (TimeCell("08:15:00"), "date-missing"),
        (NumberCell("46085"), "malformed-time"),
        ("yesterday", "malformed-time"),
        ("0" * 101, "malformed-time"),
        (ErrorCell("#N/A"), "cell-error"),
        ("29.03.2026 02:30", "time-skipped"),
        ("25.10.2026 02:30", "time-twice"),
        ("25.10.2026 02:00", "time-twice"),
    ],
)
def test_what_is_no_moment_is_a_fault(cell, code):
    assert fault(moments(GERMAN, BERLIN, COMMA), cell) == code


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("29.03.2026 01:59", "2026-03-29T01:59:00+01:00"),
        ("29.03.2026 03:00", "2026-03-29T03:00:00+02:00"),
        ("25.10.2026 01:59", "2026-10-25T01:59:00+02:00"),
        ("25.10.2026 03:00", "2026-10-25T03:00:00+01:00"),
    ],
)
def test_just_beside_a_change_of_clocks(text, meant):
    assert moments(GERMAN, BERLIN, COMMA)(text) == meant


# Lord Howe Island: on 4 October 2026 at 02:00 the clocks go on to 02:30, from +10:30 to +11:00.
def test_half_an_hour_skipped():
    read = moments(GERMAN, ZoneInfo("Australia/Lord_Howe"), COMMA)
    assert fault(read, "04.10.2026 02:10") == "time-skipped"
    assert read("04.10.2026 02:30") == "2026-10-04T02:30:00+11:00"
    assert read("04.10.2026 01:59") == "2026-10-04T01:59:00+10:30"


def test_empty_and_missing():
    read = moments(GERMAN, BERLIN, COMMA)
    assert read("") is None
    assert read("---") is None
    assert moments(GERMAN, BERLIN, COMMA, 2)(None, "") is None


def test_a_local_time_needs_a_zone():
    assert fault(moments(GERMAN, None, COMMA), "01.03.2026 08:15") == "offset-missing"
    assert moments([], None, COMMA)("2026-03-01T08:15+01:00") == "2026-03-01T08:15:00+01:00"


def test_a_cell_that_two_formats_read_differently_is_a_fault():
    read = moments(["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"], BERLIN, COMMA)
    assert fault(read, "03/04/2026 08:15") == "time-ambiguous"
    assert read("13/04/2026 08:15") == "2026-04-13T08:15:00+02:00"
    assert read("04/04/2026 08:15") == "2026-04-04T08:15:00+02:00"


def test_an_offset_without_whole_minutes_cannot_be_written():
    # Local mean time of Berlin was 53 min 28 s ahead, until April 1893.
    assert fault(moments(GERMAN, BERLIN, COMMA), "01.03.1880 08:15") == "malformed-time"


def test_days():
    read = days(["%d.%m.%Y", "excel"], COMMA)
    assert read("04.03.2026") == "2026-03-04"
    assert read("2026-03-04") == "2026-03-04"
    assert read(TimeCell("2026-03-04T00:00:00")) == "2026-03-04"
    assert read(NumberCell("46085")) == "2026-03-04"
    assert read(None) is None
    assert fault(read, TimeCell("2026-03-04T08:15:00")) == "malformed-date"
    assert fault(read, NumberCell("46085.5")) == "malformed-date"


MINUTES = st.integers(0, 60 * 24 * 365 * 3)


@settings(deadline=None, derandomize=True)
@given(st.lists(MINUTES, min_size=1, max_size=20), st.sampled_from(["Europe/Berlin", "UTC"]))
def test_local_times_are_those_of_the_library_and_do_not_depend_on_what_was_read_before(
    minutes, name
):
    zone = ZoneInfo(name)
    read = moments(GERMAN, zone, COMMA)
    for minute in minutes:
        local = datetime(2025, 1, 1) + timedelta(minutes=minute)  # noqa: DTZ001 - a local time
        early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if early.utcoffset() != late.utcoffset():
            assert fault(read, local.strftime(GERMAN[0])) in ("time-skipped", "time-twice")
        else:
            assert read(local.strftime(GERMAN[0])) == early.isoformat()


def test_only_of_a_workbook_midnight_is_told_that_it_looks_like_a_mere_date():
    read = moments((), ZoneInfo("Europe/Berlin"), Marks())
    for cell, told in (("2026-03-01", False), (TimeCell("2026-03-01T00:00:00"), True)):
        with pytest.raises(CellFault) as caught:
            read(cell)
        assert ("workbook" in caught.value.detail) is told
