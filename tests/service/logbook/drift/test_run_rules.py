"""Rules of runs: on the edges of their counts and limits, and how often chance makes them speak."""

from dataclasses import replace
from itertools import permutations
from math import factorial

import numpy as np
import pytest

from weighworthy_service.logbook.drift.run_rules import (
    NELSON,
    WESTERN_ELECTRIC,
    counted,
    firings,
)


@pytest.mark.parametrize(
    ("number", "values", "expected"),
    [
        # On the line is inside.
        (1, [3.0, -3.0, 3.0001, -3.0001], [2, 3]),
        (2, [0.1] * 8, []),
        (2, [0.1] * 10, [8, 9]),
        (2, [-0.1] * 9, [8]),
        (2, [0.1] * 8 + [0.0, 0.1], []),
        (3, [1, 2, 3, 4, 5, 5], []),
        (3, [1, 2, 3, 4, 5, 6, 7], [5, 6]),
        (3, [6, 5, 4, 3, 2, 1], [5]),
        (4, [1, 2] * 6 + [1], []),
        (4, [1, 2] * 7, [13]),
        (4, [1, 1] + [1, 2] * 6, []),
        # The second of two, with the third not yet there; a third inside says nothing new.
        (5, [2.1, 2.1, 0.0], [1]),
        (5, [2.1, 0.0, 2.1], [2]),
        (5, [2.0, 2.1, 2.0], []),
        (5, [2.1, 0, 0, 2.1], []),
        (6, [1.1, 1.1, -1.1, 1.1, 1.1], [4]),
        (6, [-1.1] * 4, [3]),
        (6, [1.1, 1.1, 1.1, 0.0, 0.0, 1.1], []),
        (7, [1.0, -1.0] * 7, []),
        (7, [1.0, -1.0] * 7 + [1.0], [14]),
        (8, [1.1, -1.1] * 4, [7]),
        (8, [1.1, -1.1] * 3 + [1.0, 1.1], []),
    ],
)
def test_edges(number, values, expected) -> None:
    assert firings(values, NELSON[number]) == expected


def test_what_the_display_cannot_tell_is_on_neither_side() -> None:
    near = [0.4, 0.6] * 6
    assert firings(near, NELSON[2]) == [8, 9, 10, 11]
    assert firings(near, NELSON[2], neither_side=0.5) == []
    assert firings([0.6] * 9, NELSON[2], neither_side=0.5) == [8]
    assert firings([3.1], NELSON[1], neither_side=0.5) == [0]


def test_counts_are_parameters() -> None:
    assert firings([0.1] * 8, counted(2, 8)) == [7]
    assert firings([1, 2, 3, 4, 5], counted(3, 5)) == [4]
    assert counted(2, 9) == NELSON[2]
    assert counted(2, 8).name == "rule-2-of-8"
    three_of_four = replace(NELSON[5], window=4, need=3)
    assert firings([2.1, 0, 2.1, 2.1], three_of_four) == [3]


@pytest.mark.parametrize(("number", "count"), [(1, 2), (5, 3), (9, 9), (2, 1)])
def test_what_cannot_be_counted(number, count) -> None:
    with pytest.raises(ValueError, match="row"):
        counted(number, count)


def test_western_electric() -> None:
    assert [rule.words for rule in WESTERN_ELECTRIC] == [
        "beyond 3 σ",
        "2 of 3 beyond 2 σ on one side",
        "4 of 5 beyond 1 σ on one side",
        "8 in a row on one side",
    ]


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (3, "6 in a row rising, or falling"),
        (7, "15 in a row within 1 σ of the centre"),
        (8, "8 in a row beyond 1 σ on either side"),
    ],
)
def test_words(number, words) -> None:
    assert NELSON[number].words == words


def test_false_alarms_that_are_known() -> None:
    assert NELSON[1].false_alarms == pytest.approx(0.0027, abs=0.000_001)
    # Nine times the same side of a fair coin, either side.
    assert NELSON[2].false_alarms == pytest.approx(2 / 2**9)
    assert counted(2, 8).false_alarms == pytest.approx(2 / 2**8)
    # Two of the 720 orders of six values.
    assert NELSON[3].false_alarms == pytest.approx(2 / 720)


@pytest.mark.parametrize("count", [3, 4, 5, 6, 7])
def test_alternating_orders_by_listing_them(count) -> None:
    rule = counted(4, count)
    speaking = sum(firings(order, rule) == [count - 1] for order in permutations(range(count)))
    assert rule.false_alarms == pytest.approx(speaking / factorial(count))


@pytest.mark.parametrize("rule", [*NELSON.values(), WESTERN_ELECTRIC[3]], ids=lambda r: r.name)
def test_false_alarms_by_drawing(rule) -> None:
    """Windows that share no value are independent: counts lie within the binomial bounds."""
    windows = 60_000
    drawn = np.random.default_rng(1984).normal(size=(windows, rule.window))
    last = rule.window - 1
    spoke = sum(last in firings(values, rule) for values in drawn.tolist())
    mean = windows * rule.false_alarms
    assert abs(spoke - mean) <= 3.3 * (mean * (1 - rule.false_alarms)) ** 0.5
