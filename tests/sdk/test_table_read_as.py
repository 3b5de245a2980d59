"""How a table was read, from a header (RFC 9651)."""

import pytest

from weighworthy.table_read_as import HEADER, read_as_of
from weighworthy_service.web.batch_read_as import READ_AS, read_as_header

TOLD = 'encoding="cp1252";assumed, delimiter=%"%09",decimal="," ;stated=?1, header_row=3'


def test_what_a_header_tells():
    # A blank may stand behind the semicolon of a parameter, not before it (RFC 9651, 4.2.3.2).
    assert read_as_of({HEADER: TOLD}) == {}
    assert read_as_of({HEADER: TOLD.replace(" ;stated", "; stated")}) == {
        "encoding": "cp1252",
        "delimiter": "\t",
        "decimal": ",",
        "thousands": None,
        "header_row": 3,
        "sheet": None,
        "stated": ["decimal"],
        "assumed": ["encoding"],
    }


def test_what_is_not_known_yet_is_passed_over():
    told = read_as_of({HEADER: 'later=?1;a=1.5, encoding="utf-8";b="x;y", more=:aGVsbG8=:'})
    assert told["encoding"] == "utf-8"
    assert "later" not in told


@pytest.mark.parametrize("text", ["", "utf-8", 'encoding="utf', 'a="b" c="d"', "a=(1 2)"])
def test_what_is_no_dictionary_says_nothing(text):
    assert read_as_of({HEADER: text}) == {}
    assert read_as_of({}) == {}


@pytest.mark.parametrize("sheet", ["Prüfung", 'a "b" \\ %41', "|;,=", "称量", " "])
def test_what_the_service_writes_is_read(sheet):
    read_as = {
        "encoding": None,
        "delimiter": ";",
        "decimal": ".",
        "thousands": "space",
        "header_row": 0,
        "sheet": sheet,
        "stated": ["sheet", "thousands"],
        "assumed": ["decimal"],
    }
    told = read_as_of({HEADER: read_as_header(read_as)})
    assert told == {**read_as, "stated": ["thousands", "sheet"]}
    assert READ_AS.lower() == HEADER
