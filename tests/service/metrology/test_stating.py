"""What bounds tell of an expanded uncertainty is what the whole computation states, or nothing."""

from decimal import Decimal
from fractions import Fraction
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from weighworthy_service.metrology.budget import combine_contributions
from weighworthy_service.metrology.stating import Stating, stating

LEVELS = [Decimal(level) for level in ("50", "95", "95.45", "99.73", "99.999999999")]


def two_digits_up(value: float) -> Decimal:
    """By whole numbers: the least of two digits that is not below."""
    exponent, exact = 0, Fraction(value)
    while exact >= 100:
        exact, exponent = exact / 10, exponent + 1
    while exact < 10:
        exact, exponent = exact * 10, exponent - 1
    return Decimal(-(-exact.numerator // exact.denominator)).scaleb(exponent)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(
    st.sampled_from(LEVELS[:4]),
    st.floats(1e-12, 1e5),
    st.floats(0.5, 1e7) | st.integers(1, 100).map(float) | st.just(inf),
)
def test_it_states_what_the_quantile_of_scipy_gives(coverage, standard, degrees):
    """Against `scipy.stats`, which is not what the code uses; k·u rounded up to two digits."""
    told = Stating(coverage).sure(standard, degrees)
    share = stats.norm.cdf(2) - stats.norm.cdf(-2) if coverage == LEVELS[2] else coverage / 100
    factor = stats.t.ppf((1 + float(share)) / 2, degrees)
    assert told is None or told == two_digits_up(factor * standard)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.sampled_from(LEVELS), st.floats(1e-15, 1e7), st.floats(1, 1e12))
def test_it_states_what_the_budget_states(coverage, standard, degrees):
    whole = combine_contributions([standard], [(0, degrees)], coverage)
    told = stating(coverage).sure(whole.standard, whole.degrees_of_freedom)
    assert told is None or told == whole.expanded


def test_nearly_always_it_tells():
    """k = 2.18 at 12 degrees: u from 0.0100 to 0.0199 in ten thousand steps, of which those beside
    a step of two digits are left open."""
    found = [Stating(Decimal(95)).sure(0.01 + n * 1e-6, 12.0) for n in range(0, 10_000, 7)]
    assert found.count(None) < 0.02 * len(found)
    assert {Decimal("0.022"), Decimal("0.043")} <= set(found)


@pytest.mark.parametrize(
    ("standard", "degrees"),
    # Twice 0.01 at infinite degrees is 0.020 exactly, which a float may miss by its last bit.
    [(0.01, inf), (0.01 * (1 + 1e-9), inf), (0.01, 0.7), (0.0, inf), (1e-30, inf), (1e30, inf)],
)
def test_beside_a_step_or_out_of_reach_it_does_not_tell(standard, degrees):
    assert stating(Decimal("95.45")).sure(standard, degrees) is None
