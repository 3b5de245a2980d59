"""Chances of a limit, against tables of the normal distribution and simulated balances."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import numpy as np
import pytest

from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.checks.terms import Decision, ProfileIdentity, Terms
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.profiles.chances import (
    Acceptance,
    Spread,
    acceptance,
    checks_a_year,
    false_acceptance,
    false_failures,
    false_rejection,
    half_of,
    risks_of_all,
)

WITHIN_2 = Interval(Fraction(-2), Fraction(2))


def terms(use_on=("pass", "conditional-pass"), **decision) -> Terms:
    identity = ProfileIdentity("p", "1", "sha256:0")
    return Terms(profile=identity, decision=Decision(**decision), use_on=use_on)


def test_what_varies_and_what_lasts() -> None:
    """3 and 4 new in every check, 12 of the weights: 5 and 13."""
    budget = [
        BudgetRow("digitisation of loaded readings", "rectangular", 3, "g", 1, inf),
        BudgetRow("repeatability", "normal", 2, "g", -2, 9),
        BudgetRow("reference weights A", "normal", 12, "g", 1, inf),
    ]
    spread = Spread.of(budget)
    assert spread.varying == pytest.approx(5)
    assert spread.whole == pytest.approx(13)
    assert spread.lasting == pytest.approx(12)


@pytest.mark.parametrize(
    ("source", "varies"),
    [
        ("digitisation of zero readings", True),
        ("digitisation of the displayed loss", True),
        ("built-up loads", True),
        ("hot zero drift", True),
        ("hot zero correction", False),
        ("buoyancy of A", False),
        ("reference weights A, B", False),
    ],
)
def test_sources_that_are_new_in_every_check(source, varies) -> None:
    spread = Spread.of([BudgetRow(source, "rectangular", 1, "g", 1)])
    assert (spread.varying == 1) is varies


def acceptance_of(interval=WITHIN_2, *, name="loss_error", expanded="0.5", **kwargs) -> Acceptance:
    """Of a criterion whose values have no steps, or steps of 1 with `value` one of them."""
    value, step = kwargs.pop("value", "0"), Decimal(kwargs.pop("step", 1))
    criterion = Criterion(
        name, name, "g", value=Decimal(value), expanded_uncertainty=Decimal(expanded)
    )
    return acceptance(criterion, interval, terms(**kwargs), step)


def accepted(*args, **kwargs) -> tuple:
    found = acceptance_of(*args, **kwargs).accepted
    return found.lower, found.upper


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
    assert (found.accepted.lower, found.accepted.upper) == tuple(map(Fraction, expected))
    assert found.any_good


def test_no_displayed_value_within_the_limits() -> None:
    """Errors …, -0.7, 0.3, 1.3, … and a limit of 0.2: no balance can pass."""
    within = Interval(Fraction("-0.2"), Fraction("0.2"))
    found = acceptance_of(within, name="span_error", value="0.3")
    assert not found.any_good
    assert false_rejection(replace(found, spread=Spread(1, 1))).all_sets == 1


def test_a_value_half_a_step_from_the_limit_is_asked_for() -> None:
    """To whole units, half to even: 2.5 is 2 and passes a limit of 2, but 1.5 is 2 and fails 1."""
    rounding = {"rounding": "rounding", "rounding_to": Decimal(1), "name": "span_error"}
    two = Interval(Fraction(-2), Fraction(2))
    one = Interval(Fraction(-1), Fraction(1))
    assert accepted(two, value="0.5", **rounding) == (-3, 3)
    assert accepted(one, value="0.5", **rounding) == (-1, 1)


def test_one_side_stays_open_and_a_magnitude_has_two() -> None:
    upper = Interval(None, Fraction(2))
    assert accepted(upper) == (None, 2)
    assert accepted(upper, name="span_error") == (None, Fraction("2.5"))
    assert accepted(upper, name="span_agreement") == (Fraction("-2.5"), Fraction("2.5"))


def test_one_rounding_is_in_the_steps() -> None:
    """s = 2 and two roundings of 1/12: one of them is left, 4 + 1/12."""
    spread = Spread(sqrt(4 + 2 / 12), sqrt(5 + 2 / 12)).on_grid(Decimal(1))
    assert spread.varying**2 == pytest.approx(4 + 1 / 12)
    assert spread.whole**2 == pytest.approx(5 + 1 / 12)


@pytest.mark.parametrize(
    ("interval", "half"),
    [((-2, 2), 2), ((-1, 3), 2), ((None, 2), 2), ((-3, None), 3)],
)
def test_half_of_a_tolerance(interval, half) -> None:
    assert half_of(Interval(*(None if x is None else Fraction(x) for x in interval))) == half


@pytest.mark.parametrize(
    ("limits", "good"),
    [((-2, 2), True), ((None, 0), True), ((1, 3), False), ((-3, -1), False)],
)
def test_a_good_balance_passes_only_where_zero_is_accepted(limits, good) -> None:
    interval = Interval(*(None if x is None else Fraction(x) for x in limits))
    assert acceptance_of(interval).any_good is good


def of(varying: float, whole: float, low: float | None = -2, high: float = 2) -> Acceptance:
    lower = None if low is None else Fraction(low)
    return Acceptance(Interval(lower, Fraction(high)), Spread(varying, whole), True)


def test_false_rejection_by_table() -> None:
    """Limit 2: with 1, 2(1 - Φ(2)) = 0.0455003; with √2, 2(1 - Φ(1.414214)) = 0.1572992."""
    found = false_rejection(of(1, sqrt(2)))
    assert found.one_set == pytest.approx(0.0455003, abs=5e-8)
    assert found.all_sets == pytest.approx(0.1572992, abs=5e-8)


def test_false_acceptance_by_table() -> None:
    """1.5 times 2 is 3: Φ(-1) - Φ(-5) = 0.1586550."""
    found = false_acceptance(of(1, 1), WITHIN_2)
    assert found.one_set == pytest.approx(0.1586550, abs=5e-8)
    found = false_acceptance(of(1, 1, -1, 1), WITHIN_2)  # Φ(-2) - Φ(-4) = 0.0227501 - 0.0000317
    assert found.one_set == pytest.approx(0.0227185, abs=5e-8)


def test_false_acceptance_of_asymmetric_limits() -> None:
    """From -1 to 3: 1.5 halves about the middle 1 are -2 and 4, each one unit outside."""
    limits = Interval(Fraction(-1), Fraction(3))
    found = false_acceptance(of(1, 1, -1, 3), limits)
    assert found.all_sets == pytest.approx(0.1586550, abs=5e-8)
    upper = Interval(None, Fraction(2))  # 3 against 2: Φ(-1)
    found = false_acceptance(of(1, 1, None, 2), upper)
    assert found.one_set == pytest.approx(0.1586553, abs=5e-8)


def test_nothing_accepted() -> None:
    nowhere = of(1, 1, 1, -1)
    assert false_rejection(nowhere).one_set == 1
    assert false_acceptance(nowhere, WITHIN_2).all_sets == 0
    assert false_failures(nowhere, 1).all_sets == pytest.approx(1)


def test_a_year_of_checks() -> None:
    """One set: 1 - 0.9544997^52 = 1 - exp(-52·0.0465679) = 0.91121."""
    found = false_failures(of(1, 1.2), 52)
    assert found.one_set == pytest.approx(0.91121, abs=1e-5)
    # Other sets are worse in some years and never better than nothing: simulated below.
    rng = np.random.default_rng(52)
    weights = sqrt(1.2**2 - 1) * rng.standard_normal((200_000, 1))
    years = np.any(np.abs(weights + rng.standard_normal((200_000, 52))) > 2, axis=1)
    assert found.all_sets == pytest.approx(np.mean(years), abs=4 * sqrt(0.09 * 0.91 / 200_000))


@pytest.mark.parametrize(
    ("every", "checks"),
    [
        ("day", 365),
        ("week", 52),
        ("month", 12),
        ("year", 1),
        ("24 h", 365),
        ("12 h", 730),
        ("90 min", 5840),
        ("36 h", 243),
        ("20000 h", 1),
    ],
)
def test_checks_a_year(every, checks) -> None:
    assert checks_a_year(every) == checks


def test_global_risks_in_halves_of_the_tolerance() -> None:
    """JCGM 106:2012, 9.5.6: u0 a sixth of the width is a third of its half; C_m = 2: U half of it.

    Printed 0.1 % and 1.5 %.
    """
    found = risks_of_all(of(0.5, 0.5), WITHIN_2, Fraction(1, 3))
    assert found.consumer == pytest.approx(0.0009815809, rel=1e-6)
    assert found.producer == pytest.approx(0.0146768567, rel=1e-6)
