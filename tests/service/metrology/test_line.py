from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import linprog

from weighworthy_service.metrology.line import independent, least_squares, terminal, zero_based

LOADS = (Fraction(10), Fraction(20), Fraction(40))
ERRORS = (Fraction(2), Fraction(3), Fraction(2))  # at zero load the error is 0


def fractions(*values):
    return tuple(Fraction(v) for v in values)


def test_terminal():
    # Slope 2/40 = 1/20: line 0, 1/2, 1, 2; departures 0, 3/2, 2, 0.
    found = terminal(LOADS, ERRORS)
    assert found.values == fractions(0, "3/2", 2, 0)


def test_terminal_sensitivities_are_1_and_the_share_of_the_load():
    found = terminal(LOADS, ERRORS)
    assert tuple(map(found.sensitivities, range(4))) == (
        fractions(0, 0, 0),
        fractions(1, 0, "-1/4"),
        fractions(0, 1, "-1/2"),
        fractions(0, 0, 0),
    )


def test_zero_based():
    # The departures at 20 and 40 balance: slope (3 + 2)/(20 + 40) = 1/12, line 0, 5/6, 5/3, 10/3;
    # departures 0, 7/6, 4/3, -4/3. Any other slope makes one of the last two larger.
    found = zero_based(LOADS, ERRORS)
    assert found.values == fractions(0, "7/6", "4/3", "-4/3")
    # d/dE of E_i - x_i (E_20 + E_40)/60
    assert found.sensitivities(1) == fractions(1, "-1/6", "-1/6")
    assert found.sensitivities(2) == fractions(0, "2/3", "-1/3")
    assert found.sensitivities(3) == fractions(0, "-2/3", "1/3")


def test_independent():
    # Lower hull: (0, 0)-(40, 2); above it lie (10, 2) by 3/2 and (20, 3) by 2. Half of 2 is 1:
    # line 1 + x/20 gives departures -1, 1/2, 1, -1.
    found = independent(LOADS, ERRORS)
    assert found.values == fractions(-1, "1/2", 1, -1)
    # The three alternating loads 0, 20, 40: at 20 the departure is (E20 - (E0 + E40)/2)/2.
    assert found.sensitivities(2) == fractions(0, "1/2", "-1/4")
    assert found.sensitivities(0) == fractions(0, "-1/2", "1/4")
    assert found.sensitivities(3) == fractions(0, "-1/2", "1/4")


def test_independent_below_a_hollow_curve():
    mirrored = independent(LOADS, tuple(-e for e in ERRORS))
    assert mirrored.values == fractions(1, "-1/2", -1, 1)


def test_least_squares():
    # x: 0, 10, 20, 40, mean 35/2, Σ(x - x̄)² = 1225/4 + 225/4 + 25/4 + 2025/4 = 875;
    # y: 0, 2, 3, 2, mean 7/4; Σ(x - x̄)y = -15 + 7.5 + 45 = 37.5; slope 37.5/875 = 3/70;
    # intercept 7/4 - 3/4 = 1. Departures -1, 2 - 10/7, 3 - 13/7, 2 - 19/7.
    found = least_squares(LOADS, ERRORS)
    assert found.values == fractions(-1, "4/7", "8/7", "-5/7")


def test_least_squares_sensitivities_are_rows_of_the_residual_maker():
    xs = np.array([0.0, 10.0, 20.0, 40.0])
    design = np.column_stack([np.ones(4), xs])
    maker = np.eye(4) - design @ np.linalg.inv(design.T @ design) @ design.T
    found = least_squares(LOADS, ERRORS)
    found = np.array([found.sensitivities(i) for i in range(len(LOADS) + 1)], dtype=float)
    # The error at zero load is exact and has no column.
    assert found == pytest.approx(maker[:, 1:], abs=1e-12)


def test_the_four_are_different_numbers():
    reach = {max(map(abs, of(LOADS, ERRORS).values)) for of in (terminal, zero_based, independent)}
    assert reach == {Fraction(2), Fraction(4, 3), Fraction(1)}


def least_reach(xs, es, *, free):
    """The smallest largest departure, by linear programming (an independent way)."""
    cost = [1.0, 0.0, 0.0]  # reach, slope, intercept
    above = [[-1.0, -x, -1.0] for x in xs]
    below = [[-1.0, x, 1.0] for x in xs]
    bound = (None, None) if free else (0, 0)
    found = linprog(
        cost,
        A_ub=above + below,
        b_ub=[-e for e in es] + list(es),
        bounds=[(0, None), (None, None), bound],
    )
    return found.fun


CURVES = [
    ((1, 2, 3), (0, 0, 0)),
    ((1, 2, 3), (1, 2, 3)),
    ((1, 2, 3), (5, -5, 5)),
    ((1, 2, 3, 4, 5), (3, 3, 3, 3, 3)),
    ((1, 2, 3, 4, 5), (1, -1, 1, -1, 1)),
    ((1, 10, 100), (7, -3, 1)),
    ((5, 20, 50, 100, 120), (0, 1, -4, 2, 9)),
    ((1, 2, 4, 8, 16, 32), (0, 0, 0, 0, 0, 1)),
    ((1, 2, 4, 8, 16, 32), (1, 0, 0, 0, 0, 0)),
]


@pytest.mark.parametrize(("loads", "errors"), CURVES)
@pytest.mark.parametrize(("of", "free"), [(zero_based, False), (independent, True)])
def test_the_minimax_lines_are_those_of_linear_programming(loads, errors, of, free):
    found = of(fractions(*loads), fractions(*errors))
    expected = least_reach([0, *loads], [0, *errors], free=free)
    assert float(max(map(abs, found.values))) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("loads", "errors"), CURVES)
@pytest.mark.parametrize("of", [terminal, zero_based, independent, least_squares])
def test_sensitivities_are_the_derivatives(loads, errors, of):
    """Departures are linear in the errors, so the rows must give them back exactly."""
    found = of(fractions(*loads), fractions(*errors))
    for value, row in zip(
        found.values, map(found.sensitivities, range(len(found.values))), strict=True
    ):
        assert value == sum(c * e for c, e in zip(row, errors, strict=True))


@pytest.mark.parametrize("of", [terminal, zero_based, independent, least_squares])
def test_a_straight_curve_departs_from_no_line(of):
    assert not any(of(LOADS, tuple(x / 7 for x in LOADS)).values)
