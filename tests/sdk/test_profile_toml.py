"""TOML that is written must read back as the same document, by the standard library's reader."""

import tomllib
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy.profile_toml import profile_to_toml, with_parent

TEXTS = st.text(
    st.characters(codec="utf-8", include_characters='\x00\x7f"\\\n\r\t#=]é\u2028'), max_size=20
)
VALUES = st.recursive(
    TEXTS | st.booleans() | st.integers(-(2**53), 2**53),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)
RULES = st.lists(
    st.dictionaries(st.sampled_from(["checks", "limits", "decision", "odd name"]), VALUES),
    max_size=3,
)
DOCUMENTS = st.recursive(
    st.fixed_dictionaries({"id": TEXTS, "rules": RULES | VALUES, "title": VALUES}),
    lambda parent: st.fixed_dictionaries({"id": TEXTS, "extends": parent, "rules": RULES}),
    max_leaves=3,
)


def read(text):
    """What a TOML reader makes of it, dates as texts as on the wire."""
    document = tomllib.loads(text)
    for name in ("effective_from", "effective_to"):
        if name in document:
            document[name] = document[name].isoformat()
    return document


@given(DOCUMENTS)
def test_written_and_read_is_the_same(document):
    assert tomllib.loads(profile_to_toml(document)) == document


def test_reads_as_a_person_would_write_it():
    document = {
        "id": "harbour",
        "revision": "2026-03",
        "effective_from": "2026-03-01",
        "effective_to": date(2027, 2, 28),
        "extends": "base@2026-01",
        "approved_by": None,
        "rules": [
            {
                "checks": ["simulated-loss"],
                "limits": {"loss_error": {"within": "0.06 %"}, "left out": None},
                "validity": {"points": {"at_least": 4, "else": "no-pass"}},
                "loosens": 'he said "so"',
            }
        ],
    }
    assert profile_to_toml(document) == (
        'id = "harbour"\n'
        'revision = "2026-03"\n'
        "effective_from = 2026-03-01\n"
        "effective_to = 2027-02-28\n"
        'extends = "base@2026-01"\n'
        "\n"
        "[[rules]]\n"
        'checks = ["simulated-loss"]\n'
        'limits.loss_error = { within = "0.06 %" }\n'
        'validity = { points = { at_least = 4, else = "no-pass" } }\n'
        'loosens = "he said \\"so\\""\n'
    )


def test_long_values_are_spread_over_lines():
    bands = [{"up_to": f"{i}0 g", "within": "3 mg", "source": "x" * 30} for i in range(1, 5)]
    document = {"id": "a", "rules": [{"limits": {"point_error": {"bands": bands}}}]}
    text = profile_to_toml(document)
    assert max(map(len, text.splitlines())) <= 100
    assert tomllib.loads(text) == document


def test_a_text_that_only_looks_like_a_date_stays_text():
    document = {"id": "a", "effective_from": "2026-02-30", "title": "2026-03-01"}
    assert tomllib.loads(profile_to_toml(document)) == document
    assert isinstance(
        read(profile_to_toml({"effective_from": "2026-03-01"}))["effective_from"], str
    )


@pytest.mark.parametrize("number", [0.05, Decimal("0.05")])
def test_a_number_without_unit_is_not_written(number):
    with pytest.raises(TypeError, match=r"profile\.rules\[0\]\.limits\.x\.within.*q\(12\.003"):
        profile_to_toml({"rules": [{"limits": {"x": {"within": number}}}]})


PARENT = {"id": "base", "revision": "1", "title": "two\nlines", "rules": [{"checks": ["span"]}]}


@pytest.mark.parametrize(
    "text",
    [
        'id = "a"\nextends = "base@1"  # builds on\nrevision = "2"\n',
        "id = 'a'\n  'extends'='base@1'\n",
        '"extends" = "base@1"\nid = "a"',
        # The first hit lies inside a multi-line string, and must stay as it is.
        'title = """\nextends = "base@1"\n"""\nextends = "base@1"\n[[rules]]\nchecks = ["span"]\n',
        'id = "a"\nextends = "base@1"\n[[rules]]\nlimits.extends = { within = "1 mg" }\n',
        'extends = "base@1"\nnumber = 0.1\n',
    ],
)
def test_parent_goes_into_its_own_line(text):
    completed = with_parent(text, PARENT)
    assert completed is not None
    assert tomllib.loads(completed) == {**tomllib.loads(text), "extends": PARENT}
    # No line moved: all but one are the same.
    before, after = text.splitlines(), completed.splitlines()
    assert len(before) == len(after)
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 1


@pytest.mark.parametrize("text", ['extends = """\nbase@1"""\n', '"ext\\u0065nds" = "base@1"\n'])
def test_an_unusual_line_is_left_alone(text):
    assert tomllib.loads(text)["extends"] == "base@1"
    assert with_parent(text, PARENT) is None
