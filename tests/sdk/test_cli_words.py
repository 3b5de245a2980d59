from decimal import Decimal
from types import MappingProxyType

import pytest

from weighworthy.cli_words import SHAPES, amount, limits, share, spoken, strip, table, written
from weighworthy.results import VERDICTS, read_answer


def test_every_verdict_has_a_word_and_a_shape_of_its_own():
    assert SHAPES.keys() == {*VERDICTS, None}
    shapes = [said.partition(" ")[0] for said in SHAPES.values()]
    assert len(set(shapes)) == len(shapes)
    assert all(said.partition(" ")[2] for said in SHAPES.values())


@pytest.mark.parametrize(
    ("value", "unit", "like", "text"),
    [
        # Half to even at the last digit of the uncertainty 0.00012 g = 0.12 mg.
        (Decimal("0.000345"), "g", Decimal("0.00012"), "0.34 mg"),
        (Decimal("-0.0013298"), "%", Decimal("0.017"), "-0.001 %"),
        (Decimal("-0.0001"), "%", Decimal("0.017"), "0.000 %"),
        (Decimal("0.0012"), "g", Decimal("0.00015"), "1.20 mg"),
        (Decimal("-0.0"), "g", None, "0 mg"),
        (Decimal("0.5"), "g", None, "500 mg"),
        (Decimal("20.0000"), "g", None, "20 g"),
        (Decimal("0"), "g", None, "0 mg"),
        (Decimal("1E+2"), "s", None, "100 s"),
        (Decimal("100"), "s", Decimal("1.2"), "100.0 s"),
        (Decimal("1234.4"), "g", Decimal("120"), "1230 g"),
        (Decimal("2"), None, None, "2"),
        (None, "g", Decimal(1), "–"),
    ],
)
def test_amounts(value, unit, like, text):
    assert amount(value, unit, like=like) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Decimal("0.0231"), "2.3 %"),
        (Decimal("0.5"), "50 %"),
        (Decimal("0.9951"), "99.51 %"),
        (Decimal("1"), "100 %"),
        (Decimal("0"), "0 %"),
        (Decimal("0.00001"), "< 0.01 %"),
        (None, "–"),
    ],
)
def test_shares(value, text):
    assert share(value) == text


def test_limits():
    assert limits(Decimal("-0.002"), Decimal("0.002"), "g") == "within ±2 mg"
    assert limits(Decimal("-0.05"), Decimal("0.1"), "%") == "-0.05 % to 0.1 %"
    assert limits(None, Decimal("0.1"), "%") == "at most 0.1 %"
    assert limits(Decimal("0.1"), None, "%") == "at least 0.1 %"
    assert limits(None, None, "%") == "no limit"


def test_settings_are_written_as_in_a_profile():
    value = MappingProxyType({"bands": (MappingProxyType({"up_to": "20 g", "within": "4 mg"}),)})
    assert written(value) == '{ bands = [{ up_to = "20 g", within = "4 mg" }] }'
    assert written(True) == "true"
    assert written(Decimal("4")) == "4"
    assert written(None) == "–"


def test_columns_stand_in_line():
    assert table(("a", "b"), [("long", "x"), ("y", "")]) == "a     b\nlong  x\ny"


def test_answer_in_words(answer_bytes):
    text = spoken(read_answer(answer_bytes), "MA-1  span")
    assert text.splitlines()[:2] == [
        "MA-1  span",
        "  ■ fail: use NOT allowed",
    ]
    # 2.1 mg, U 0.6 mg, limits 2 mg: by the figures of the fixture.
    assert "2.1 mg ± 0.6 mg, within ±2 mg: ■ fail" in text
    assert "warning: A sentence. [weak-ratio]" in text
    assert "general@1 sha256:00" in text


def test_strip_shows_value_and_limits(envelope, answer_bytes):
    answer = read_answer(answer_bytes)
    # 41 columns over 1.6 times the tolerance of ±2 mg: 20 columns are 3.2 mg, so the limits stand
    # at 20 ± 12.5 (half to even: 12), 2.1 mg at 33.1, and ±0.6 mg is 3.75 columns.
    drawn = strip(answer.criteria[0])
    assert len(drawn) == 41
    assert [i for i, cell in enumerate(drawn) if cell == "│"] == [8, 32]
    assert drawn.index("◆") == 33
    assert drawn.count("═") >= 5
    assert strip(answer.criteria[2]).strip() == ""


@pytest.mark.parametrize(
    ("value", "beside", "text"), [("0.89", "1.35", "0.89 g"), ("0.89", "0.5", "890 mg")]
)
def test_an_uncertainty_has_the_unit_of_its_value(value, beside, text):
    assert amount(Decimal(value), "g", beside=Decimal(beside)) == text
