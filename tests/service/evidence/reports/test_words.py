from datetime import date, datetime
from decimal import Decimal

import pytest

from weighworthy_service.evidence.reports.words import words


@pytest.mark.parametrize(
    ("value", "english", "german"),
    [
        (0.00905, "0.00905", "0,00905"),
        (-0.5, "−0.5", "−0,5"),
        (12, "12", "12"),
        # No groups: a point in thousands is a decimal mark elsewhere.
        (1234567.25, "1234567.25", "1234567,25"),
        (Decimal("0.68666666666666701"), "0.68666666666666701", "0,68666666666666701"),
        (0.0, "0", "0"),
        (1e-20, "1 × 10⁻²⁰", "1 × 10⁻²⁰"),
        (-2.5e300, "−2.5 × 10³⁰⁰", "−2,5 × 10³⁰⁰"),
    ],
)
def test_numbers_keep_all_digits(value: float | Decimal, english: str, german: str) -> None:
    assert words("en").number(value) == english
    assert words("de").number(value) == german


def test_places_that_are_asked_for_are_there() -> None:
    assert words("en").number(Decimal("1.5"), 3) == "1.500"
    assert words("de").number(Decimal("2"), 1) == "2,0"
    assert words("en").number(Decimal("0.04"), 1) == "0.0"


def test_dates_and_times() -> None:
    at = datetime.fromisoformat("2026-03-16T08:05:00+01:00")
    assert words("en").instant(at) == "16 Mar 2026, 08:05 UTC+01:00"
    assert words("de").instant(at) == "16.03.2026, 08:05 UTC+01:00"
    late = datetime.fromisoformat("2026-03-16T23:05:07-05:30")
    assert words("en").instant(late) == "16 Mar 2026, 23:05:07 UTC−05:30"
    assert words("en").instant(datetime(2026, 3, 16, 8, 5)) == "16 Mar 2026, 08:05"  # noqa: DTZ001
    assert words("en").day(date(2027, 5, 31)) == "31 May 2027"
    assert words("de").day(date(2027, 5, 31)) == "31.05.2027"


def test_texts_are_translated_and_filled() -> None:
    assert words("en").text("Findings") == "Findings"
    assert words("de").text("Findings") == "Feststellungen"
    assert words("de").text("load {load} g", load="50") == "Last 50 g"
    assert words("de").text("of no catalogue") == "of no catalogue"
