"""Patterns: what may meet, and what covers what, on the safe side."""

from fnmatch import fnmatchcase

import pytest
from hypothesis import given
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
        # Two globs are never shown apart.
        (("a*",), ("b*",), True),
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


@given(patterns, patterns, st.one_of(st.none(), st.text("ab", max_size=3)))
def test_both_are_right_about_every_value(one, other, value):
    if fits(one, value) and fits(other, value):
        assert may_meet(one, other)
    if covers(one, other) and fits(other, value):
        assert fits(one, value)
