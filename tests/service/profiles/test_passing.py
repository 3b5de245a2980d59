"""Which values let a balance into use, on a display with steps, and how likely they come."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import numpy as np
import pytest

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.terms import Decision, ProfileIdentity, Terms
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.judging import judge
from weighworthy_service.profiles.passing import Acceptance, Spread, acceptance
from weighworthy_service.tables.finder import AtHand

WITHIN_2 = Interval(Fraction(-2), Fraction(2))


def terms(use_on=("pass", "conditional-pass"), **decision) -> Terms:
    identity = ProfileIdentity("p", "1", "sha256:0")
    return Terms(profile=identity, decision=Decision(**decision), use_on=use_on)


def test_what_varies_and_what_lasts() -> None:
    """3 and 4 new in every check, 12 of the weights: 5 and 13."""
    budget = [
        BudgetRow("digitisation of loaded readings", "rectangular", 3, "g", 1, inf, varies=True),
        BudgetRow("repeatability", "normal", 2, "g", -2, 9, varies=True),
        BudgetRow("reference weights A", "normal", 12, "g", 1, inf),
    ]
    spread = Spread.of(budget)
    assert spread.varying == pytest.approx(5)
    assert spread.whole == pytest.approx(13)
    assert spread.lasting == pytest.approx(12)


# Who reads or puts on again gets another error; a reference has the same as long as it is used.
NEW = ("digitisation", "repeatability", "scatter", "built-up loads", "hot zero drift")
OLD = ("reference weights", "buoyancy", "certificate", "hot zero correction")


def budgets(kind: Kind) -> Iterator[BudgetRow]:
    """Of the example, and of its readings on a balance of which everything is stated."""
    example = kind.example["request"]
    whole = {
        "repeatability": "0.9 mg",
        "repeatability_observations": 10,
        "eccentricity": {"difference": "3 mg", "load": "20 g"},
        "hot_zero_drift": "0.4 mg",
        "hot_zero_correction": {"value": "0.3 mg", "standard_uncertainty": "0.1 mg"},
    }
    for more in ({}, whole):
        request = {**example, "instrument": {**example["instrument"], **more}}
        for criterion in judge(kind, request, AtHand(built_in()).find).evaluation.criteria:
            yield from criterion.budget


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.slug)
def test_rows_of_every_kind_say_whether_they_are_new_in_every_check(kind) -> None:
    rows = list(budgets(kind))
    assert any(row.varies for row in rows)
    for row in rows:
        if row.source.startswith((*NEW, *OLD)):
            assert row.varies is row.source.startswith(NEW), row.source


CRITERIA = {criterion.name: criterion for kind in KINDS for criterion in kind.criteria}


def acceptance_of(interval=WITHIN_2, *, name="loss_error", expanded="0.5", **kwargs) -> Acceptance:
    """Of a criterion whose values have no steps, or steps of 1 with `value` one of them."""
    value, step = kwargs.pop("value", "0"), Decimal(kwargs.pop("step", 1))
    budget = (
        BudgetRow(
            "digitisation of loaded readings", "rectangular", 1 / sqrt(12), "g", 1, varies=True
        ),
        BudgetRow(
            "digitisation of zero readings", "rectangular", 1 / sqrt(12), "g", 1, varies=True
        ),
        BudgetRow("repeatability", "normal", 2, "g", 1, varies=True),
    )
    criterion = Criterion(
        name,
        name,
        "g",
        value=Decimal(value),
        expanded_uncertainty=Decimal(expanded),
        budget=budget,
    )
    return acceptance(CRITERIA[name], criterion, interval, terms(**kwargs), step)


def accepted(*args, **kwargs) -> tuple:
    """The ends of what is accepted; of limits on one side, the one there is."""
    return tuple(end for end in ends(acceptance_of(*args, **kwargs)) if end is not None)


def ends(found: Acceptance) -> tuple:
    return found.accepted.lower, found.accepted.upper


@pytest.mark.parametrize(
    ("decision", "use_on", "expected"),
    [
        ({"rule": "simple"}, None, 2),
        ({"rule": "guarded"}, None, Fraction(3, 2)),
        ({"rule": "guarded", "guard_factor": Decimal(2)}, None, 1),
        ({"rule": "four-way"}, ("pass",), Fraction(3, 2)),
        ({"rule": "four-way"}, ("pass", "conditional-pass"), 2),
        ({"rule": "four-way"}, ("pass", "conditional-pass", "conditional-fail"), Fraction(5, 2)),
        ({"rounding": "rounding", "rounding_to": Decimal("0.1")}, None, Fraction(41, 20)),
    ],
)
def test_values_that_let_use(decision, use_on, expected) -> None:
    more = {} if use_on is None else {"use_on": use_on}
    assert accepted(**decision, **more) == (-expected, expected)


def test_rounding_to_the_last_digit_of_each_limit() -> None:
    limit = Interval(Fraction(-2), Fraction(3), Decimal("0.1"), Decimal(1))
    assert accepted(limit, rounding="rounding") == (Fraction("-2.05"), Fraction("3.5"))


@pytest.mark.parametrize(
    ("value", "limit", "expected"),
    [
        # Values …, -2, -1, 0, 1, 2, …: midway between the last that passes and the next.
        ("0", "2", ("-2.5", "2.5")),  # a value on the limit passes
        ("0", "2.9", ("-2.5", "2.5")),
        ("0", "0.4", ("-0.5", "0.5")),
        # A weight of 49.9997 g in steps of 1 mg: errors …, -0.7, 0.3, 1.3, …
        ("0.3", "2", ("-2.2", "1.8")),
    ],
)
def test_limits_act_midway_between_displayed_values(value, limit, expected) -> None:
    within = Interval(-Fraction(limit), Fraction(limit))
    found = acceptance_of(within, name="span_error", value=value)
    assert ends(found) == tuple(Fraction(end) for end in expected)
    assert found.any_good


def test_no_displayed_value_within_the_limits() -> None:
    """Errors …, -0.7, 0.3, 1.3, … and a limit of 0.2: no balance can pass."""
    within = Interval(Fraction("-0.2"), Fraction("0.2"))
    found = acceptance_of(within, name="span_error", value="0.3")
    assert not found.any_good
    assert found.passes(np.linspace(-3, 3, 7)) == pytest.approx(np.zeros(7))


def test_a_value_half_a_step_from_the_limit_is_asked_for() -> None:
    """To whole units, half to even: 2.5 is 2 and passes a limit of 2, but 1.5 is 2 and fails 1."""
    rounding = {"rounding": "rounding", "rounding_to": Decimal(1), "name": "span_error"}
    two = Interval(Fraction(-2), Fraction(2))
    one = Interval(Fraction(-1), Fraction(1))
    assert accepted(two, value="0.5", **rounding) == (-3, 3)
    assert accepted(one, value="0.5", **rounding) == (-1, 1)


def test_one_side_stays_open_and_a_magnitude_has_two() -> None:
    upper = Interval(None, Fraction(2))
    assert accepted(upper) == (2,)
    assert accepted(upper, name="span_error") == (2.5,)
    assert acceptance_of(upper, name="span_error").passes(np.array(-1e9)) == 1
    assert accepted(upper, name="span_agreement") == (Fraction("-2.5"), Fraction("2.5"))


def test_one_rounding_is_in_the_steps_and_the_other_is_rectangular() -> None:
    """s = 2, limit 2 in steps of 1: from -2.5 to 2.5, with a rectangle from -1/2 to 1/2.

    The mean over it of 2Φ(x/2) - 1, x about 2.5: with G(t) = tΦ(t) + φ(t),
    2·2·(G(1.5) - G(1)) - 1, G(1.5) = 1.5293068, G(1) = 1.0833155: 0.7839652.
    """
    found = acceptance_of(WITHIN_2, name="span_error")
    assert found.passes(np.array(0.0)) == pytest.approx(0.7839652, abs=4e-7)
    assert found.lasting == 0
    # A limit that is no sum of readings has no steps, √(4 + 2/12): 2/2.041241 = 0.979796: 0.672813.
    assert acceptance_of(WITHIN_2).passes(np.array(0.0)) == pytest.approx(0.672813, abs=1e-6)


@pytest.mark.parametrize(
    ("limits", "good"),
    [((-2, 2), True), ((None, 0), True), ((1, 3), False), ((-3, -1), False)],
)
def test_a_good_balance_passes_only_where_zero_is_accepted(limits, good) -> None:
    interval = Interval(*(None if x is None else Fraction(x) for x in limits))
    assert acceptance_of(interval).any_good is good
