"""Minimax lines against linear programming (scipy.optimize.linprog, HiGHS) and exhaustive search.

min h subject to -h ≤ E_i - (a + b·x_i) ≤ h for every load, zero load with zero error included;
a = 0 for the line through zero. The linear program works in floats on a curve scaled to one; ours
is exact, so they agree to 1e-9 of the largest error.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from weighworthy_service.metrology import line

Curve = tuple[list[Fraction], list[Fraction]]

# Loads in mg, errors in µg: 1 mg to 500 g, up to ± 20 mg.
LOADS = st.integers(1, 500_000)
ERRORS = st.integers(-20_000, 20_000)


@st.composite
def curves(draw: st.DrawFn, largest: int = 15) -> Curve:
    loads = sorted(draw(st.sets(LOADS, min_size=3, max_size=largest)))
    errors = draw(st.lists(ERRORS, min_size=len(loads), max_size=len(loads)))
    return [Fraction(x, 1000) for x in loads], [Fraction(e, 1_000_000) for e in errors]


def _linear_program(curve: Curve, *, through_zero: bool) -> float:
    """Smallest largest departure, relative to the largest error."""
    loads, errors = curve
    x = np.array([0.0, *(float(m / loads[-1]) for m in loads)])
    scale = max(abs(e) for e in errors)
    e = np.array([0.0, *(float(value / scale) for value in errors)])
    ones = np.ones_like(x)
    above = np.column_stack([-ones, -x, -ones])  # E - a - b·x ≤ h
    below = np.column_stack([ones, x, -ones])
    found = linprog(
        c=[0, 0, 1],
        A_ub=np.vstack([above, below]),
        b_ub=np.concatenate([-e, e]),
        bounds=[(0, 0) if through_zero else (None, None), (None, None), (0, None)],
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    assert found.status == 0
    return float(found.fun)


def _check_against_program(
    curve: Curve, departures: line.Departures, *, through_zero: bool
) -> None:
    scale = max(abs(e) for e in curve[1])
    assume(scale > 0)
    ours = float(max(abs(v) for v in departures.values) / scale)
    assert ours == pytest.approx(_linear_program(curve, through_zero=through_zero), abs=1e-9)


def _is_from_a_line(curve: Curve, departures: line.Departures) -> tuple[Fraction, Fraction]:
    """Intercept and slope; the values really are what one straight line leaves over."""
    xs, es = [Fraction(0), *curve[0]], [Fraction(0), *curve[1]]
    fitted = [e - v for e, v in zip(es, departures.values, strict=True)]
    slope = (fitted[-1] - fitted[0]) / (xs[-1] - xs[0])
    assert all(f == fitted[0] + slope * x for x, f in zip(xs, fitted, strict=True))
    return fitted[0], slope


def _sensitivities_hold(curve: Curve, departures: line.Departures) -> None:
    """Every departure is the sum of its sensitivities times the errors."""
    for value, row in zip(
        departures.values, map(departures.sensitivities, range(len(departures.values))), strict=True
    ):
        assert value == sum((c * e for c, e in zip(row, curve[1], strict=True)), Fraction(0))


@settings(max_examples=300, deadline=None)
@given(curves())
def test_zero_based_line(curve: Curve) -> None:
    departures = line.zero_based(*curve)
    intercept, _ = _is_from_a_line(curve, departures)
    assert intercept == 0
    _sensitivities_hold(curve, departures)
    _check_against_program(curve, departures, through_zero=True)


@settings(max_examples=300, deadline=None)
@given(curves())
def test_independent_line(curve: Curve) -> None:
    departures = line.independent(*curve)
    _is_from_a_line(curve, departures)
    _sensitivities_hold(curve, departures)
    _check_against_program(curve, departures, through_zero=False)


def _search_through_zero(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Fraction:
    """Two loads bind: with slope (E_i + E_j)/(x_i + x_j) both are off by the quotient."""
    pairs = combinations(range(len(loads)), 2)
    return max(
        abs(errors[i] * loads[j] - errors[j] * loads[i]) / (loads[i] + loads[j]) for i, j in pairs
    )


def _search_free(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Fraction:
    """Three loads bind: half the vertical distance of the middle one from the others' chord."""
    xs, es = [Fraction(0), *loads], [Fraction(0), *errors]
    gaps = (
        es[b] - es[a] - (es[c] - es[a]) * (xs[b] - xs[a]) / (xs[c] - xs[a])
        for a, b, c in combinations(range(len(xs)), 3)
    )
    return max(abs(gap) for gap in gaps) / 2


@settings(max_examples=300, deadline=None)
@given(curves(largest=7))
def test_exhaustive_search_agrees_exactly(curve: Curve) -> None:
    assert max(abs(v) for v in line.zero_based(*curve).values) == _search_through_zero(*curve)
    assert max(abs(v) for v in line.independent(*curve).values) == _search_free(*curve)


@settings(max_examples=100, deadline=None)
@given(curves())
def test_order_of_the_four(curve: Curve) -> None:
    """What is left over can only grow as the line is less free; the terminal line at most doubles
    what the line through zero leaves (its error at the highest load is shared by both).
    """
    free, bound, chord, squares = (
        max(abs(v) for v in fit(*curve).values)
        for fit in (line.independent, line.zero_based, line.terminal, line.least_squares)
    )
    assert free <= bound <= chord <= 2 * bound
    assert free <= squares


@settings(max_examples=100, deadline=None)
@given(curves(), st.integers(-1000, 1000))
def test_a_gain_error_is_no_nonlinearity(curve: Curve, ppm: int) -> None:
    loads, errors = curve
    tilted = [e + x * Fraction(ppm, 1_000_000) for x, e in zip(loads, errors, strict=True)]
    for fit in (line.independent, line.zero_based, line.terminal, line.least_squares):
        here = max(abs(v) for v in fit(loads, errors).values)
        assert max(abs(v) for v in fit(loads, tilted).values) == here


def test_a_straight_curve_leaves_nothing() -> None:
    loads = [Fraction(x) for x in (10, 20, 50)]
    for fit in (line.independent, line.zero_based, line.terminal, line.least_squares):
        assert set(fit(loads, [x / 1000 for x in loads]).values) == {0}


@settings(max_examples=200, deadline=None)
@given(curves())
def test_least_squares_against_numpy(curve: Curve) -> None:
    """numpy's polynomial fit of the same points, zero load included."""
    loads, errors = curve
    scale = max(abs(e) for e in errors)
    assume(scale > 0)
    x = np.array([0.0, *(float(m / loads[-1]) for m in loads)])
    e = np.array([0.0, *(float(value / scale) for value in errors)])
    a, b = np.polynomial.polynomial.polyfit(x, e, 1)
    ours = [float(v / scale) for v in line.least_squares(*curve).values]
    assert ours == pytest.approx(list(e - a - b * x), abs=1e-9)
