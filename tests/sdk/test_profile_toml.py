"""TOML that is written must read back as the same document, by the standard library's reader."""

import itertools
import tomllib
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weighworthy.profile_toml import joined, profile_to_toml

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


@settings(deadline=None)  # the machine may be busy
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


CHILD = 'id = "a"  # the child\nextends = "b@1"\n\n[[rules]]\nchecks = ["span"]\n'
PARENT = 'id = "b"\nrevision = "1"\n\n[[rules]]\nlimits.x = { within = "1 mg" }\n'


def meaning(*texts):
    """The documents nested by hand."""
    documents = [tomllib.loads(text) for text in texts]
    for child, parent in itertools.pairwise(documents):
        child["extends"] = parent
    return documents[0]


@pytest.mark.parametrize(
    "texts",
    [
        (CHILD, PARENT),
        (CHILD, PARENT.removesuffix("\n")),
        (CHILD.replace("\n", "\r\n"), PARENT),
        (CHILD, 'extends = "c@1"\n' + PARENT, PARENT),
        (CHILD, PARENT, 'title = "not named by b, but joined"\n'),
        # What looks like a header or like the line to leave out, inside a text and a list.
        ('title = """\nextends = "x"\n[[rules]]\n"""\n' + CHILD, PARENT),
        (CHILD, PARENT + 'source = """\n[[rules]]\nextends = "x"\n"""\n'),
        (CHILD, PARENT + "points = [\n  [1, 2],\n  [3],\n]\n[rules.decision]\nrule = 'simple'\n"),
        (CHILD, PARENT + "  [ rules . validity ]\nstable = 'void'\n"),
        (CHILD + "limits.extends = { within = '1 mg' }\nextends = 'a member of a rule'\n", PARENT),
        ('"extends" = "b@1"\nid = "a"', PARENT),
        ("  'extends'='b@1'\n", PARENT),
        (CHILD, ""),
    ],
)
def test_joined_texts_mean_the_nested_documents(texts):
    whole, starts = joined(texts)
    assert tomllib.loads(whole) == meaning(*texts)
    lines = whole.split("\n")
    for text, start in zip(texts, starts, strict=True):
        for offset, line in enumerate(text.removesuffix("\n").split("\n")):
            # Every line is where it is said to be; only headers and the named parent differ.
            found = lines[start - 1 + offset]
            assert found in (line, "") or "extends." in found


def test_where_it_begins_is_told():
    whole, starts = joined((CHILD, PARENT))
    # Five lines of the child, the header of the parent, then the parent.
    assert starts == (1, 7)
    assert whole.split("\n")[5:7] == ["[extends]", 'id = "b"']
    assert whole.split("\n")[1] == ""
