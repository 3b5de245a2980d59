"""Patterns: what may meet, and what covers what, on the safe side."""

import time
from fnmatch import fnmatchcase

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weighworthy_service.profiles.document import Rule
from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.overlap import (
    MAX_NAMES,
    MAX_PATTERNS,
    Overlap,
    covers,
    extent_flaws,
    may_meet,
)
from weighworthy_service.profiles.reading import read_profile


@pytest.mark.parametrize(
    ("one", "other", "meet"),
    [
        (None, ("a",), True),
        (("a",), ("a", "b"), True),
        (("a",), ("b",), False),
        (("a*",), ("ab",), True),
        (("a*",), ("b",), False),
        (("a*",), ("*b",), True),
        # Two globs are shown apart by what they begin or end with.
        (("a*",), ("b*",), False),
        (("ab*",), ("a*",), True),
        (("*a",), ("*b",), False),
        (("*ab",), ("*b",), True),
        (("a*c",), ("ab*",), True),
        (("MA-[0-4]*",), ("MA-[5-9]*",), True),  # by nothing else
        (("MA-0?",), ("MB-0?",), False),
        (("x[", "y*"), ("x?",), True),  # a bracket that nothing closes is a letter
        (("[]a]b",), ("*c",), False),
        (("a]*",), ("a]b*",), True),
    ],
)
def test_may_meet(one, other, meet):
    assert may_meet(one, other) is may_meet(other, one) is meet


@pytest.mark.parametrize(
    ("one", "other", "whole"),
    [
        (None, None, True),
        (None, ("a",), True),
        (("a",), None, False),
        (("*",), None, False),
        (("*",), ("a", "b*"), True),
        (("a", "b"), ("a",), True),
        (("a",), ("a", "b"), False),
        (("a*",), ("ab", "ac"), True),
        (("a*",), ("a*",), True),
        (("a*",), ("ab*",), False),
    ],
)
def test_covers(one, other, whole):
    assert covers(one, other) is whole


patterns = st.one_of(
    st.none(), st.lists(st.text("ab*?", min_size=1, max_size=3), min_size=1, max_size=2).map(tuple)
)


def fits(patterns, value):
    return patterns is None or (
        value is not None and any(fnmatchcase(value, pattern) for pattern in patterns)
    )


globs = st.lists(
    st.sampled_from(["a", "b", "-", "]", "[", "!", "*", "?", "[ab]", "[!a]", "[]a]", "[a-b]"]),
    min_size=1,
    max_size=5,
).map("".join)
names = st.text("ab-][!*?", max_size=5)


@settings(max_examples=1000)
@given(globs, globs, names)
def test_what_cannot_meet_has_no_name_in_common(one, other, name):
    if fnmatchcase(name, one) and fnmatchcase(name, other):
        assert may_meet((one,), (other,))


@st.composite
def abstracted(draw, name):
    """A glob made of a name: each sign as it is, or something that stands for it."""
    return "".join(draw(st.sampled_from([c, "?", "*", f"[{c}x]", f"*{c}"])) for c in name)


@settings(max_examples=1000)
@given(names.filter(bool).flatmap(lambda n: st.tuples(st.just(n), abstracted(n), abstracted(n))))
def test_two_globs_of_one_name_meet(made):
    """Random globs seldom have a name in common; these have, where signs do not garble them."""
    name, one, other = made
    assume(fnmatchcase(name, one) and fnmatchcase(name, other))
    assert may_meet((one,), (other,))


@given(patterns, patterns, st.one_of(st.none(), st.text("ab", max_size=3)))
def test_both_are_right_about_every_value(one, other, value):
    if fits(one, value) and fits(other, value):
        assert may_meet(one, other)
    if covers(one, other) and fits(other, value):
        assert fits(one, value)


rules = st.builds(Rule, origin=st.none(), sites=patterns, instruments=patterns)


@given(
    st.lists(rules, min_size=2, max_size=5), st.text("ab", max_size=3), st.text("ab", max_size=3)
)
def test_rules_are_told_apart_by_all_their_selectors(drawn, site, instrument):
    """Against every check there is: who matches it, who meets there, who covers whom."""
    overlap = Overlap(drawn)
    matching = [
        i for i, r in enumerate(drawn) if fits(r.sites, site) and fits(r.instruments, instrument)
    ]
    for one in matching:
        for other in matching:
            assert overlap.may_meet(one, other)
            covering = overlap.covering(one, other)
            assert {k for k in range(len(drawn)) if covering >> k & 1} <= set(matching)
            assert covering >> one & covering >> other & 1
    for one, _ in enumerate(drawn):
        for other, _ in enumerate(drawn):
            pairs = (
                (drawn[one].sites, drawn[other].sites),
                (drawn[one].instruments, drawn[other].instruments),
            )
            assert overlap.may_meet(one, other) == all(may_meet(a, b) for a, b in pairs)
            assert overlap.covering(other) >> one & 1 == all(covers(a, b) for a, b in pairs)


def test_two_rules_are_covered_where_they_meet_by_what_covers_neither():
    """The valley's K-1: one rule is for the valley, the other for all of K-1."""
    by_site, by_model = Rule(None, sites=("valley",)), Rule(None, models=("K-1",))
    both = Rule(None, sites=("valley",), models=("K-1",))
    overlap = Overlap([by_site, by_model, both])
    assert overlap.covering(0, 1) == 0b111
    assert overlap.covering(0) == 0b001
    assert overlap.covering(1) == 0b010


def selecting(number, each):
    """Rules that select by so many names or patterns."""
    wanted = [each(position) for position in range(number)]
    return [
        {"checks": ["span"], "sites": wanted[at : at + 200]} for at in range(0, len(wanted), 200)
    ]


@pytest.mark.parametrize(
    ("most", "each", "word"),
    [(MAX_NAMES, "N-{}", "names"), (MAX_PATTERNS, "N-{}*", "patterns")],
)
def test_as_many_names_and_patterns_as_can_be_held_against_each_other(most, each, word):
    # "span" is a name too, once in each rule.
    own = -(-most // 200) if word == "names" else 0
    document = {"id": "kestrel", "revision": "1", "rules": selecting(most - own, each.format)}
    assert len(read_profile(document).rules) == -(-most // 200)
    document["rules"].append({"sites": ["one-more" if word == "names" else "one-more*"]})
    with pytest.raises(ProfileNotUsable) as caught:
        read_profile(document)
    (flaw,) = caught.value.flaws
    assert (flaw.path, flaw.code) == (("rules",), "too-many")
    assert f"{most + 1} {word}" in flaw.detail


def test_the_names_of_what_a_profile_builds_on_count_with_its_own():
    half = MAX_PATTERNS // 2
    parent = {"id": "base", "revision": "1", "rules": selecting(half + 1, "N-{}*".format)}
    child = {
        "id": "own",
        "revision": "1",
        "extends": parent,
        "rules": selecting(half, "{}*".format),
    }
    with pytest.raises(ProfileNotUsable) as caught:
        read_profile(child)
    assert [flaw.code for flaw in caught.value.flaws] == ["too-many"]
    assert list(extent_flaws(read_profile(parent).rules)) == []


DECIDING = {
    "decision": {"rounding": "rounding", "rounding_to": "1 mg"},
    "limits": {"span_error": {"within": "2 mg"}},
}


@pytest.mark.parametrize(
    ("number", "sites"),
    [
        # Any two may meet, and none covers another.
        (200, lambda i: [f"*{i:03d}*"]),
        (200, lambda i: [f"{i:03d}*{i:03d}", f"{i}*"]),
        (8, lambda i: [f"{i:03d}*{j:03d}" for j in range(50)]),
        (200, lambda i: [f"{i:03d}-{j}" for j in range(18)] + [f"*{i}b", "?*" * 50]),
    ],
)
def test_the_rules_of_one_profile_are_held_against_each_other_in_a_short_time(number, sites):
    """In seconds at most; looking for a third rule for each two took minutes."""
    rules = [{"sites": sites(i), **DECIDING} for i in range(number)]
    started = time.process_time()
    profile = read_profile({"id": "kestrel", "revision": "1", "rules": rules})
    assert time.process_time() - started < 20
    assert len(profile.rules) == number
