"""Every strict field: what it takes, and the code of what it refuses."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from weighworthy_service.wire.coded import field_errors
from weighworthy_service.wire.containers import ListOf, MapOf
from weighworthy_service.wire.fields import (
    Count,
    Date,
    Flag,
    Instant,
    OneOf,
    PureNumber,
    Quantity,
    Text,
    WeightClass,
    instant_of,
)
from weighworthy_service.wire.form import Form


class Everything(Form):
    mass = Quantity("mass")
    positive = Quantity("mass", "positive")
    unsigned = Quantity("mass", "not-negative")
    temperature = Quantity("temperature", bounds=(0, 50))
    count = Count(2, 10)
    flag = Flag()
    pure = PureNumber(positive=True)
    text = Text(5)
    choice = OneOf(("up", "down"))
    day = Date()
    moment = Instant()
    weight_class = WeightClass()
    names = MapOf(Text(5), maximum=2)
    entries = ListOf(Text(5), minimum=1, maximum=2)


FORM = Everything()


def codes(field: str, value: object) -> list[tuple[str, str]]:
    with pytest.raises(ValidationError) as caught:
        FORM.load({field: value})
    return [(error.pointer, error.code) for error in field_errors(caught.value.messages)]


@pytest.mark.parametrize(
    ("field", "value", "loaded"),
    [
        ("mass", "-12.0030 g", Decimal("-12.0030")),
        ("mass", "1.5mg", Decimal("0.0015")),
        ("mass", "2 µg", Decimal("0.000002")),
        ("temperature", "50 °C", Decimal(50)),
        ("count", 2, 2),
        ("count", 10, 10),
        ("flag", False, False),
        ("pure", "2.00", Decimal("2.00")),
        ("text", "äöü€𝄞", "äöü€𝄞"),
        ("choice", "up", "up"),
        ("day", "2028-02-29", date(2028, 2, 29)),
        ("moment", "2026-03-16T07:40:00Z", datetime(2026, 3, 16, 7, 40, tzinfo=UTC)),
        ("weight_class", "OIML F1", "OIML F1"),
        ("names", {"a": "x", "b": None}, {"a": "x"}),
        ("entries", ["x", "y"], ("x", "y")),
    ],
)
def test_takes(field: str, value: object, loaded: object) -> None:
    assert FORM.load({field: value}) == {field: loaded}


def test_digits_of_a_quantity_stay_as_written() -> None:
    assert str(FORM.load({"mass": "12.0030 g"})["mass"]) == "12.0030"


def test_instant_keeps_its_offset_and_takes_seven_decimals_of_seconds() -> None:
    loaded = FORM.load({"moment": "2026-03-16T07:40:00.1234567+05:30"})["moment"]
    assert loaded.utcoffset() == timedelta(hours=5, minutes=30)
    assert loaded.date() == date(2026, 3, 16)


@pytest.mark.parametrize("field", list(FORM.fields))
def test_null_is_absence(field: str) -> None:
    assert FORM.load({field: None}) == FORM.load({}) == {}


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("mass", 12.003, "unit-missing"),
        ("mass", 12, "unit-missing"),
        ("mass", float("inf"), "unit-missing"),
        ("mass", True, "wrong-type"),
        ("mass", ["1 g"], "wrong-type"),
        ("mass", "12.003", "unit-missing"),
        ("mass", "12,003 g", "decimal-comma"),
        ("mass", "1e999999 g", "number-malformed"),
        ("mass", "NaN g", "number-malformed"),
        ("mass", "1 lb", "unit-not-taken"),
        ("mass", "1 %", "unit-not-taken"),
        ("mass", "1234567890123 g", "number-too-long"),
        ("mass", "0.1234567890 g", "number-too-long"),
        ("mass", "1 g\n", "number-malformed"),
        ("mass", "١ g", "number-malformed"),
        ("positive", "0.000 g", "out-of-range"),
        ("positive", "-1 g", "out-of-range"),
        ("unsigned", "-0 g", "out-of-range"),
        ("temperature", "50.1 Cel", "out-of-range"),
        ("temperature", "-0.1 Cel", "out-of-range"),
        ("count", True, "wrong-type"),
        ("count", 2.0, "wrong-type"),
        ("count", "2", "wrong-type"),
        ("count", 1, "out-of-range"),
        ("count", 11, "out-of-range"),
        ("flag", 1, "wrong-type"),
        ("flag", "true", "wrong-type"),
        ("pure", 2, "wrong-type"),
        ("pure", "2,5", "decimal-comma"),
        ("pure", "0.0", "out-of-range"),
        ("pure", "-2", "number-malformed"),
        ("pure", "2 g", "number-malformed"),
        ("pure", "1" * 13, "number-too-long"),
        ("pure", "2\n", "number-malformed"),
        ("text", "", "too-short"),
        ("text", "abcdef", "too-long"),
        ("text", 5, "wrong-type"),
        ("choice", "UP", "not-one-of"),
        ("choice", 1, "wrong-type"),
        ("day", "2026-02-29", "malformed-date"),
        ("day", "20260216", "malformed-date"),
        ("day", "2026-W08-1", "malformed-date"),
        ("day", "0000-01-01", "malformed-date"),
        ("moment", "2026-03-16T07:40:00", "offset-missing"),
        ("moment", "2026-03-16 07:40", "offset-missing"),
        ("moment", "2026-03-16", "malformed-time"),
        ("moment", "2026-02-30T07:40:00Z", "malformed-time"),
        ("moment", "2026-03-16T24:00:00Z", "malformed-time"),
        ("weight_class", "OIML Z9", "not-one-of"),
        ("names", [], "wrong-type"),
        ("names", {"a": "x", "b": "x", "c": "x"}, "too-many"),
        ("entries", [], "too-few"),
        ("entries", ["a", "b", "c"], "too-many"),
        ("entries", {"a": 1}, "wrong-type"),
        ("entries", "ab", "wrong-type"),
    ],
)
def test_refuses(field: str, value: object, code: str) -> None:
    assert codes(field, value) == [(f"/{field}", code)]


def test_faults_inside_maps_and_lists_point_at_the_entry() -> None:
    assert codes("names", {"a/b~c": "too long", "": "x"}) == [
        ("/names/a~1b~0c", "too-long"),
        ("/names/", "too-short"),
    ]
    assert codes("entries", [None, 3]) == [("/entries/0", "required"), ("/entries/1", "wrong-type")]


def test_message_of_a_bare_number_shows_the_right_form() -> None:
    with pytest.raises(ValidationError) as caught:
        FORM.load({"mass": 12.003})
    (error,) = field_errors(caught.value.messages)
    assert '"12.003 g"' in error.detail


def test_nearest_choice_is_suggested() -> None:
    with pytest.raises(ValidationError) as caught:
        FORM.load({"weight_class": "OIML F 1"})
    (error,) = field_errors(caught.value.messages)
    assert 'did you mean "OIML F1"?' in error.detail


@settings(max_examples=200, derandomize=True)
@given(text=st.from_regex(Instant.pattern, fullmatch=True))
def test_an_instant_is_what_the_standard_library_reads(text: str) -> None:
    def read(reading: Callable[[str], datetime]) -> str:
        try:
            return repr(reading(text))
        except ValueError:
            return "no such day"

    assert read(instant_of) == read(datetime.fromisoformat)


def test_times_of_one_offset_share_it() -> None:
    first, second = (instant_of(f"2026-03-0{day}T08:15:00+01:00") for day in (1, 2))
    assert first.tzinfo is second.tzinfo


@pytest.mark.parametrize(("least", "said"), [(1, "1 entry is"), (2, "2 entries are")])
def test_how_many_entries_are_needed_is_said_in_whole_words(least: int, said: str) -> None:
    with pytest.raises(ValidationError, match=f"at least {said} needed"):
        ListOf(Text(), minimum=least, maximum=9).deserialize([])
