from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest

from weighworthy import q
from weighworthy.values import plain


class FloatWithOwnRepr(float):
    """Like the floats of numerical libraries, whose repr names their type."""

    def __repr__(self) -> str:
        return f"library.float64({float(self)})"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("12.0030", "12.0030 g"),
        (Decimal("12.0030"), "12.0030 g"),
        (Decimal("-0.00010"), "-0.00010 g"),
        (12, "12 g"),
        (-3, "-3 g"),
        (12.003, "12.003 g"),
        (12.0, "12.0 g"),
        (0.1 + 0.2, "0.3 g"),  # the float is 0.30000000000000004, 17 digits
        (12.003 - 5.001, "7.002 g"),  # the float is 7.002000000000001, 16 digits
        (123456.789012345, "123456.789012345 g"),  # 15 digits, all kept
        (1e-05, "0.00001 g"),
        (Decimal("1E+3"), "1000 g"),
        ("1.5e-3", "0.0015 g"),
        ("+.5", "0.5 g"),
        (FloatWithOwnRepr(1.5), "1.5 g"),
        ("999999999999.999999999", "999999999999.999999999 g"),
        (Decimal("1E-9"), "0.000000001 g"),
    ],
)
def test_q_writes_the_number_plainly(value: Any, text: str) -> None:
    assert q(value, "g") == text


@pytest.mark.parametrize(
    "value",
    [
        float("nan"),
        float("inf"),
        Decimal("NaN"),
        Decimal("sNaN"),
        Decimal("-Infinity"),
        "nan",
        "",
        " 1",
        "1 ",
        "1_000",
        "١٢",
        "12 g",
        "0x10",
        "1e9999",
        "1000000000000",  # 13 digits before the point
        Decimal("1E+999999"),
        Decimal("0E+13"),
        "0.0000000001",  # 10 digits after the point
        1 / 3,
        1e300,
    ],
)
def test_q_refuses_what_is_no_measured_value(value: Any) -> None:
    with pytest.raises(ValueError, match=r"."):
        q(value, "g")


def test_q_names_the_decimal_comma() -> None:
    with pytest.raises(ValueError, match="decimal mark is a point"):
        q("12,003", "g")


@pytest.mark.parametrize("value", [True, None, b"1", 1j, [1]])
def test_q_refuses_other_types(value: Any) -> None:
    with pytest.raises(TypeError, match=r'q\(12\.003, "g"\)'):
        q(value, "g")


@pytest.mark.parametrize("unit", ["", " g", "g "])
def test_q_wants_a_unit(unit: str) -> None:
    with pytest.raises(ValueError, match="unit"):
        q(1, unit)


def test_q_wants_the_unit_as_text() -> None:
    with pytest.raises(TypeError, match="unit must be text"):
        q(1, None)  # type: ignore[arg-type]


@pytest.mark.parametrize("number", [12.003, Decimal("12.003"), 12, float("nan")])
def test_a_bare_number_is_named_with_its_path(number: Any) -> None:
    with pytest.raises(TypeError) as caught:
        plain({"points": [{}, {"indication": number}]})
    assert "points[1].indication" in str(caught.value)
    assert 'q(12.003, "g")' in str(caught.value)


def test_counts_are_integers() -> None:
    request = {
        "instrument": {"repeatability_observations": 10},
        "profile": {
            "rules": [{"validity": {"points": {"at_least": 5}}, "response": [{"times": 2}]}]
        },
    }
    assert plain(request) == request


@pytest.mark.parametrize(
    ("request_", "hint"),
    [
        ({"instrument": {"repeatability_observations": 10.0}}, "a count is an int"),
        ({"weights": {"A": {"coverage_factor": 2}}}, 'write "2"'),
        ({"labels": {"run": 7}}, 'write "7"'),
        ({"profile": {"rules": [{"guard_factor": 1.5}]}}, 'write "1.5"'),
        ({"profile": {"rules": [{"within": Decimal("0.05")}]}}, r'q(12.003, "g")'),
    ],
)
def test_other_numbers_have_their_own_hint(request_: Any, hint: str) -> None:
    with pytest.raises(TypeError) as caught:
        plain(request_)
    assert hint in str(caught.value)


def test_booleans_text_and_null_pass() -> None:
    request = {"stable": False, "heating": True, "method": None, "load": ("A", "B")}
    assert plain(request) == {"stable": False, "heating": True, "method": None, "load": ["A", "B"]}


def test_dates_and_times() -> None:
    east = timezone(timedelta(hours=5, minutes=30))
    assert plain({"due_on": date(2027, 3, 1)}) == {"due_on": "2027-03-01"}
    assert plain(datetime(2026, 5, 4, 7, 30, tzinfo=UTC)) == "2026-05-04T07:30:00+00:00"
    assert plain(datetime(2026, 5, 4, 7, 30, 0, 250000, tzinfo=east)) == (
        "2026-05-04T07:30:00.250000+05:30"
    )


def test_a_time_without_offset_is_refused() -> None:
    with pytest.raises(TypeError, match=r"performed_at: .*offset"):
        plain({"performed_at": datetime(2026, 5, 4, 7, 30)})  # noqa: DTZ001


def test_an_offset_with_seconds_is_refused() -> None:
    odd = timezone(timedelta(minutes=19, seconds=32))
    with pytest.raises(ValueError, match="RFC 3339"):
        plain(datetime(1930, 1, 1, tzinfo=odd))


@pytest.mark.parametrize("value", [time(7, 30), b"x", {"A"}, object(), (i for i in "ab")])
def test_other_types_are_refused_with_their_path(value: Any) -> None:
    with pytest.raises(TypeError, match=r"^initial\.load: cannot be sent"):
        plain({"initial": {"load": value}})


def test_names_must_be_text() -> None:
    with pytest.raises(TypeError, match="names must be text"):
        plain({"weights": {50: {}}})


def test_text_that_no_encoding_can_hold_is_refused_with_its_place():
    with pytest.raises(ValueError, match=r"labels\.lot: half of a surrogate pair"):
        plain({"labels": {"lot": "\ud800"}})
    assert plain({"labels": {"lot": "Größe µ"}}) == {"labels": {"lot": "Größe µ"}}
