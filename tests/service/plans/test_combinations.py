"""The search for weights, against what can be counted by hand."""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.terms import StartWindow
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.plans import combinations
from weighworthy_service.plans.combinations import Aim, search


def owned(*nominals: str) -> dict[str, ReferenceWeight]:
    return {
        f"W{i}": ReferenceWeight(f"W{i}", Decimal(n), "OIML F1") for i, n in enumerate(nominals)
    }


def window(target: str, allowance: str) -> StartWindow:
    return StartWindow(Decimal(target), Decimal(allowance))


def test_all_of_a_small_set() -> None:
    """10, 2, 1 g: in 12 ± 1 g lie 12, 11, 13 g; a pair has two parts, three weights have six."""
    found = search(owned("10", "2", "1"), window("12", "1"), 3, Aim("wet"))
    assert (found.looked_at, found.in_window, len(found.combinations)) == (7, 3, 10)
    assert found.whole
    losses = sorted(one.loss for one in found.combinations)
    by_hand = [(1, 13), (1, 11), (2, 13), (2, 12), (3, 13), (10, 13), (10, 12), (10, 11), (11, 13)]
    assert losses == sorted([*(Fraction(100 * a, b) for a, b in by_hand), Fraction(1200, 13)])


def test_ends_of_the_window_are_inside() -> None:
    assert search(owned("10", "2"), window("11", "1"), 2, Aim("wet")).in_window == 2
    assert search(owned("10", "2"), window("11", "0.999"), 2, Aim("wet")).in_window == 0


def test_certificate_values_decide_the_window() -> None:
    weights = owned("10", "2")
    weights["W0"] = ReferenceWeight(
        "W0", Decimal(10), None, Decimal("9.9999"), Decimal("0.0001"), Decimal(2)
    )
    assert search(weights, window("12.5", "0.5"), 2, Aim("wet")).in_window == 0
    assert search(weights, window("12.5", "0.5001"), 2, Aim("wet")).in_window == 1


def test_nearest_first_and_no_farther_than_allowed() -> None:
    aim = Aim("wet", Decimal(17), Decimal(2))
    found = search(owned("10", "2", "1"), window("12", "1"), 3, aim).combinations
    # 2/12 = 16.67 %, 2/13 = 15.38 %; 3/13 = 23.1 % is too far, 1/11 = 9.1 % as well.
    assert [one.loss for one in found] == [Fraction(200, 12), Fraction(200, 13)]


def test_dry_basis() -> None:
    found = search(owned("10", "2"), window("12", "0"), 2, Aim("dry")).combinations
    assert sorted(one.loss for one in found) == [Fraction(20), Fraction(500)]


def test_weights_that_are_alike_are_taken_once() -> None:
    """10 g twice and 2 g: with the twins apart there would be twice as many of one of them."""
    found = search(owned("10", "10", "2"), window("12", "0"), 3, Aim("wet"))
    assert found.alike == 1
    # By the names that come off.
    assert [one.removed for one in found.combinations] == [("W0",), ("W2",)]
    # Both twins on the pan: 22 g; of them one comes off in one way.
    both = search(owned("10", "10", "2"), window("22", "0"), 3, Aim("wet")).combinations
    assert sorted(one.removed for one in both) == [
        ("W0", "W1"), ("W1",), ("W1", "W2"), ("W2",),
    ]  # fmt: skip


def test_a_search_has_an_end(monkeypatch) -> None:
    monkeypatch.setattr(combinations, "MAX_COMBINATIONS", 5)
    found = search(owned("10", "2", "1"), window("12", "1"), 3, Aim("wet"))
    assert not found.whole
    # The pairs come first, with two parts each; the third set is begun with four of five.
    assert len(found.combinations) == 10


@pytest.mark.parametrize("most", [2, 3])
def test_at_most_so_many_on_the_pan(most) -> None:
    found = search(owned("10", "2", "1"), window("12", "1"), most, Aim("wet"))
    assert max(len(one.initial) for one in found.combinations) == most
