from pathlib import Path

import pytest

from weighworthy_service.evidence.reports.sentences import said, sentence

PAIRS = [
    block.split("\n")
    for block in (Path(__file__).parent / "german.txt").read_text("utf-8").strip().split("\n\n")[1:]
]


@pytest.mark.parametrize(("message", "german"), PAIRS)
def test_sentences_of_the_engine_in_german(message: str, german: str) -> None:
    found = sentence(message, "de")
    assert found.replace("\N{NO-BREAK SPACE}", " ") == german


def test_no_line_break_parts_a_number_from_its_unit() -> None:
    message = "the start load lies outside 12 g ± 0.2 g"
    assert sentence(message, "en") == (
        "The start load lies outside 12\N{NO-BREAK SPACE}g ± 0.2\N{NO-BREAK SPACE}g"
    )
    assert sentence("5 gold bars", "en") == "5 gold bars"


def test_temperatures_and_rates_are_numbers_with_units_too() -> None:
    for value, german in (("0.5 K", "0,5 K"), ("104.5 Cel", "104,5 Cel"), ("2.5 mg/h", "2,5 mg/h")):
        found = sentence(f"digitisation of {value}", "de")
        assert found.replace("\N{NO-BREAK SPACE}", " ").endswith(german)
    assert sentence("it is 2.5 K/h", "en") == "It is 2.5\N{NO-BREAK SPACE}K/h"


def test_what_no_template_fits_stays() -> None:
    assert said("something of another engine, 1.5 g", "de") == "something of another engine, 1.5 g"
    long = "x: " * 2000
    assert said(long, "de") == long
    assert said("", "de") == ""


def test_english_stays_but_for_its_times() -> None:
    message = "span passed 2025-05-12T06:15:00+02:00"
    assert said(message, "en") == "span passed 12 May 2025, 06:15 UTC+02:00"
    assert said("not a time: 2025-99-12T06:15:00+02:00", "en").endswith("2025-99-12T06:15:00+02:00")


def test_names_that_look_like_numbers_or_words_are_values_all_the_same() -> None:
    # A weight may be called by a number; what else stands there is no place for its decimal mark.
    message = "A1.5: the certificate's coverage factor is taken as 2"
    assert said(message, "de").startswith("A1.5: ")


def test_a_sentence_begins_with_a_capital_but_no_name_does() -> None:
    assert sentence("the reading had not settled", "en") == "The reading had not settled"
    assert sentence("point_error: of it", "en") == "point_error: of it"
    assert sentence("a1: of it", "en") == "a1: of it"
