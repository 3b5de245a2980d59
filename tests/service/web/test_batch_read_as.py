"""How a table was read, in a header. The forms are those of RFC 9651, chapters 3.3 and 4.1."""

import pytest

from weighworthy_service.web.batch_read_as import read_as_header

NOTHING = {"stated": [], "assumed": []}


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (3, "3"),
        ("utf-8", '"utf-8"'),
        (";", '";"'),
        # In strings only these two are escaped (3.3.3).
        ('a"b\\c', '"a\\"b\\\\c"'),
        # Strings hold no control characters; a display string has its bytes in hexadecimal (3.3.8).
        ("\t", '%"%09"'),
        # The example of 3.3.8, with what it stands for (from memory).
        (
            "This is intended for display to üsers.",
            '%"This is intended for display to %c3%bcsers."',
        ),
        ('100 % "ü"', '%"100 %25 %22%c3%bc%22"'),
    ],
)
def test_items(value, written):
    assert read_as_header({"x": value, **NOTHING}) == f"x={written}"


def test_members_that_are_there_with_how_they_were_found():
    read_as = {"encoding": "cp1252", "delimiter": ";", "thousands": None, "header_row": 0}
    told = read_as_header({**read_as, "stated": ["delimiter"], "assumed": ["encoding"]})
    assert told == 'encoding="cp1252";assumed, delimiter=";";stated, header_row=0'


def test_half_a_character_breaks_no_header():
    assert read_as_header({"sheet": "a\ud800ü", **NOTHING}) == 'sheet=%"a?%c3%bc"'
