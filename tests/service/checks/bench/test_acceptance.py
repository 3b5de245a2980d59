from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.checks.bench.acceptance import Stretch, stretch


@given(
    first=st.integers(-(10**9), 10**9),
    length=st.integers(0, 10**9),
    off=st.fractions(-1, 1, max_denominator=7),
)
def test_ends_are_found_from_about_the_middle(first: int, length: int, off: Fraction) -> None:
    last = first + length
    middle = Fraction(first + last, 2) + off * Fraction(length, 2)
    assert stretch(lambda n: first <= n <= last, middle) == Stretch(first, last)


@pytest.mark.parametrize(
    ("accepts", "expected"),
    [
        (lambda n: n <= 7, Stretch(None, 7)),
        (lambda n: n >= 7, Stretch(7, None)),
        (lambda n: n >= 10**6, Stretch(10**6, None)),
        (lambda _: True, Stretch(None, None)),
        (lambda _: False, None),
        (lambda n: n == 3, Stretch(3, 3)),
    ],
)
def test_open_and_empty(accepts, expected) -> None:
    assert stretch(accepts, Fraction(5, 2)) == expected


def test_what_lies_beyond_a_gap_is_left_out() -> None:
    # From 0 the gap at 6 and 7 would be jumped over by doubling (1, 3, 7 are asked for, then 15).
    found = stretch(lambda n: -20 <= n <= 20 and n not in (6, 9), Fraction(0))
    assert found == Stretch(-20, 5)


@given(holes=st.sets(st.integers(-40, 40).filter(lambda n: n != 0), max_size=6))
def test_next_value_beyond_each_end_never_passes(holes: set[int]) -> None:
    def accepts(n: int) -> bool:
        return -40 <= n <= 40 and n not in holes

    found = stretch(accepts, Fraction(0))
    assert found is not None
    assert found.first is not None
    assert found.last is not None
    assert not accepts(found.first - 1)
    assert not accepts(found.last + 1)
    # A short stretch is asked for value by value, so that it has no hole inside.
    if found.last - found.first <= 40:
        assert all(map(accepts, range(found.first, found.last + 1)))
