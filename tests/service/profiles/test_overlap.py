"""Patterns: what may meet, and what covers what, on the safe side."""

from fnmatch import fnmatchcase

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weighworthy_service.profiles.overlap import covers, may_meet


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
