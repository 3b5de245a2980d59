"""Chances of a limit, against tables of the normal distribution and simulated years."""

from fractions import Fraction
from math import sqrt

import numpy as np
import pytest

from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.risk import passing
from weighworthy_service.profiles.chances import (
    checks_a_year,
    false_acceptance,
    false_failures,
    false_rejection,
    half_of,
    risks_of_all,
)
from weighworthy_service.profiles.passing import Acceptance

WITHIN_2 = Interval(Fraction(-2), Fraction(2))


@pytest.mark.parametrize(
    ("interval", "half"),
    [((-2, 2), 2), ((-1, 3), 2), ((None, 2), 2), ((-3, None), 3)],
)
def test_half_of_a_tolerance(interval, half) -> None:
    assert half_of(Interval(*(None if x is None else Fraction(x) for x in interval))) == half


def of(varying: float, whole: float, low: float | None = -2, high: float = 2) -> Acceptance:
    """Accepted from `low` to `high` (None: no end)."""
    ends = Interval(None if low is None else Fraction(low), Fraction(high))
    bends = [(float(end), varying) for end in (low, high) if end is not None]
    return Acceptance(ends, passing(varying, ends), sqrt(whole**2 - varying**2), bends, True)


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
