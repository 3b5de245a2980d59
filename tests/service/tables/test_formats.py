from datetime import date

import pytest

from weighworthy_service.tables.formats import Moment, compiled, date_and_time


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("%d.%m", "needs a day"),
        ("%d.%m.%Y %H", "hours with minutes"),
        ("%d.%m.%Y %M", "hours with minutes"),
        ("%d.%m.%Y %I:%M", "%I with %p"),
        ("%d.%m.%Y %H:%M %p", "%H alone"),
        ("%d.%m.%Y %H:%M.%f", "without the second"),
        ("%d.%m.%Y %d", "again"),
        ("%d.%m.%Y %q", "no directive"),
        ("%d.%m.%Y %", "no directive"),
        ("date", "neither"),
        ("", "neither"),
    ],
)
def test_a_format_that_cannot_say_when_is_refused(text, says):
    with pytest.raises(ValueError, match=says):
        compiled(text)


def test_signs_of_a_format_stand_for_themselves():
    assert compiled("%d.%m.%Y")("04x03x2026") is None
    assert compiled("%d%%%m%%%Y")("4%3%2026") == Moment(date(2026, 3, 4))


def test_digits_side_by_side_are_never_shared_out():
    assert compiled("%d%m%Y")("04032026") == Moment(date(2026, 3, 4))
    assert compiled("%d%m%Y")("1112026") is None


def test_a_text_of_the_right_shape_that_is_no_day_is_told():
    with pytest.raises(ValueError, match="day"):
        compiled("%d.%m.%Y")("31.02.2026")
    with pytest.raises(ValueError, match="hour"):
        compiled("%I:%M %p")("13:00 PM")


@pytest.mark.parametrize(
    ("text", "year"), [("1.1.68", 2068), ("1.1.69", 1969), ("1.1.26", 2026), ("1.1.00", 2000)]
)
def test_years_of_two_digits_follow_posix(text, year):
    assert compiled("%d.%m.%y")(text) == Moment(date(year, 1, 1))


def test_a_format_for_two_columns_is_cut_before_the_hour():
    assert date_and_time("%d %b %Y %H:%M") == ("%d %b %Y", "%H:%M")
    assert date_and_time("excel") == ("excel", "excel")
    with pytest.raises(ValueError, match="blank between"):
        date_and_time("%d.%m.%Y")
