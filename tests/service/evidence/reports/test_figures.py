from decimal import Decimal

import pytest

from weighworthy_service.evidence.reports.figures import (
    aligned,
    place_of,
    quantity,
    shares,
    small,
    to_digits,
)
from weighworthy_service.evidence.reports.words import words


@pytest.mark.parametrize(
    ("expanded", "value", "places"),
    [
        # Two digits of U: 1.8 has them at the first place, 0.51 at the second, 12 before the mark.
        ("1.8", "9.0512", 1),
        ("0.51", "1.2034", 2),
        ("12", "3.4", 0),
        ("0.018", "0.0734", 3),
    ],
)
def test_a_value_is_shown_to_the_second_digit_of_its_uncertainty(
    expanded: str, value: str, places: int
) -> None:
    assert place_of(Decimal(expanded), Decimal(value), ()) == places


def test_more_digits_where_fewer_would_put_a_value_on_a_limit_or_across() -> None:
    # 5.04 to one place is 5.0, the limit; 4.96 is 5.0, too; 5.06 is 5.1 and stays above.
    limits = (Decimal(-5), Decimal(5))
    assert place_of(Decimal("1.8"), Decimal("5.04"), limits) == 2
    assert place_of(Decimal("1.8"), Decimal("4.96"), limits) == 2
    assert place_of(Decimal("1.8"), Decimal("5.06"), limits) == 1
    assert place_of(Decimal("1.8"), Decimal("5.0004"), limits) == 4
    # What lies on a limit is shown on it.
    assert place_of(Decimal("1.8"), Decimal(5), limits) == 1


def test_without_uncertainty_all_digits_are_shown() -> None:
    assert place_of(None, Decimal("0.125"), ()) == 3


def test_significant_digits_round_half_to_even() -> None:
    assert to_digits(Decimal("0.00123456")) == Decimal("0.00123")
    assert to_digits(Decimal("0.0012250"), 3) == Decimal("0.00122")
    assert to_digits(Decimal("83.333"), 4) == Decimal("83.33")
    assert to_digits(Decimal("12"), 4) == Decimal("12")
    assert to_digits(Decimal(0)) == 0


def test_figures_of_a_column_have_their_marks_in_a_line() -> None:
    # A figure space is as wide as a digit; a punctuation space as wide as a mark.
    assert aligned(["1.25", "10", "0.5", "7.125"]) == ["1.25\u2007", "10\u2008\u2007\u2007\u2007",
        "0.5\u2007\u2007", "7.125"]  # fmt: skip
    assert aligned(["1,5", "∞"]) == ["1,5", "∞\u2008\u2007"]
    assert aligned([]) == []


def test_shares_are_of_the_squares() -> None:
    # 3² + 4² = 25: 36 % and 64 %.
    rows = [{"contribution": 3}, {"contribution": -4}]
    assert shares(rows) == [pytest.approx(0.36), pytest.approx(0.64)]
    assert shares([{"contribution": 0}]) == [0]


def test_quantities_of_a_request_keep_their_digits() -> None:
    assert quantity(words("en"), "12.0030 g") == "12.0030\u00a0g"
    assert quantity(words("de"), "-0.010 mg") == "−0,010\u00a0mg"
    assert quantity(words("en"), "21.5 Cel") == "21.5\u00a0°C"
    assert quantity(words("en"), "45%") == "45\u00a0%"
    assert quantity(words("en"), "no quantity") == "no quantity"


def test_errors_are_shown_in_milligrams() -> None:
    assert small("g") == ("mg", 3)
    assert small("%") == ("%", 0)
