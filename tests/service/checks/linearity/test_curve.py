from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.linearity.curve import (
    LINES,
    Departure,
    departures,
    hysteresis,
    largest,
    mean_errors,
    read_points,
)


@pytest.fixture
def weights(make):
    return [make.weight(f"W{m}", m) for m in ("10", "20", "50")] + [
        make.certified("C20", "20", "20.002", "0.0001")
    ]


@pytest.fixture
def points(make, weights):
    def of(*rows):
        return read_points(make.linearity([make.point(*row) for row in rows], weights))

    return of


def mg(value):
    return Fraction(value) * 1000


def test_a_point_without_zero_uses_the_last_one_given(points):
    read = points(
        ("W10", "10.005", "0.002"), ("W20", "20.005"), ("W50", "50.005", "0.001"), ("W10", "10.001")
    )
    assert [p.zero for p in read] == [Decimal(z) for z in ("0.002", "0.002", "0.001", "0.001")]
    assert [mg(p.error) for p in read] == [3, 3, 4, 0]


def test_a_zero_that_serves_several_points_is_one_input(points):
    read = points(("W10", "10", "0"), ("W20", "20"), ("W50", "50", "0"))
    keys = [next(iter(p.effects.zeros)) for p in read]
    assert keys == ["zero 0", "zero 0", "zero 2"]


def test_points_may_be_built_from_several_weights(points):
    (p,) = points(("C20 W10", "30.001", "0"))
    assert (p.load, p.mass, p.error) == (Decimal(30), Decimal("30.002"), Decimal("-0.001"))


def test_per_nominal_load_the_mean_of_all_its_errors(points):
    curve = mean_errors(
        points(("W20", "20.004", "0"), ("W10", "10.001"), ("C20", "20.004"), ("W20", "20.000"))
    )
    # 20 g: errors 4, 2 and 0 mg, masses 20, 20.002 and 20 g.
    assert [(m.load, mg(m.error), m.points) for m in curve] == [(10, 1, 1), (20, 2, 3)]
    assert curve[1].mass == Fraction("60.002") / 3
    effects = curve[1].effects
    # In thirds. One zero for all three: its share is -1 in full. W20 lay twice, C20 once.
    assert effects.per == 3
    assert list(effects.readings.values()) == [1, 1, 1]
    assert effects.zeros == {"zero 0": -3}
    assert effects.weights == {"W20": -2, "C20": -1}


@pytest.mark.parametrize(
    ("rows", "enough"),
    [
        ([("W10", "10", "0"), ("W20", "20"), ("W50", "50")], True),
        ([("W10", "10", "0"), ("W20", "20"), ("W20", "20")], False),
        ([("W10", "10", "0")], False),
    ],
)
@pytest.mark.parametrize("line", LINES)
def test_fewer_than_three_loads_besides_zero_have_no_nonlinearity(points, rows, enough, line):
    assert (departures(mean_errors(points(*rows)), LINES[line]) is not None) == enough


def test_what_the_lines_pass_through_is_left_out(points):
    curve = mean_errors(points(("W10", "10.001", "0"), ("W20", "20"), ("W50", "50.004")))
    loads = {name: [p.load for p in departures(curve, of)] for name, of in LINES.items()}
    assert loads == {
        "terminal": [10, 20],
        "zero_based": [10, 20, 50],
        "independent": [0, 10, 20, 50],
        "least_squares": [0, 10, 20, 50],
    }


def test_terminal_departures_carry_the_effects_of_both_loads(points):
    curve = mean_errors(points(("W10", "10.001", "0"), ("W20", "20", "0"), ("W50", "50.004", "0")))
    first, _ = departures(curve, LINES["terminal"])
    # 1 mg - 4 mg · 10/50 = 0.2 mg, with sensitivities 1 and -1/5
    assert mg(first.value) == Fraction(1, 5)
    assert [r.key for r in first.effects().readings] == ["point 0", "point 2"]
    effects = first.effects()
    assert [Fraction(c, effects.per) for c in effects.readings.values()] == [1, Fraction(-1, 5)]
    shares = {name: Fraction(c, effects.per) for name, c in effects.weights.items()}
    assert shares == {"W10": -1, "W50": Fraction(1, 5)}


def test_hysteresis_is_mean_down_less_mean_up_the_highest_load_left_out(points):
    read = points(
        ("W10", "10.001", "0", "up"),
        ("W20", "20.002", None, "up"),
        ("W50", "50.003", None, "up"),
        ("W50", "50.009", None, "down"),
        ("W20", "20.006", None, "down"),
        ("W10", "10.000", None, "down"),
        ("W20", "20.004", None, "up"),  # a second cycle is no error
        ("W10", "10.777", None, None),  # no direction stated
    )
    # 20 g: 6 - (2 + 4)/2 = 3 mg; 10 g: 0 - 1 = -1 mg
    assert [(p.load, mg(p.value)) for p in hysteresis(read)] == [(10, -1), (20, 3)]


@pytest.mark.parametrize("directions", [("up", "up"), ("down", "down"), (None, None), ("up", None)])
def test_no_load_both_ways_no_hysteresis(points, directions):
    up, down = directions
    read = points(("W10", "10", "0", up), ("W10", "10", None, down), ("W50", "50", None, "up"))
    assert hysteresis(read) == []


def test_in_the_hysteresis_zero_and_weight_cancel(points):
    read = points(
        ("W10", "10", "0", "up"), ("W50", "50", None, "up"), ("W10", "10.002", None, "down")
    )
    (turn,) = hysteresis(read)
    assert not any(turn.effects().zeros.values())
    assert not any(turn.effects().weights.values())
    assert sorted(turn.effects().readings.values()) == [-1, 1]


def test_the_largest_magnitude_counts_and_of_equals_the_smallest_load():
    def at(load, value):
        return Departure(Decimal(load), Fraction(value), abs(Fraction(value)), None)

    assert largest([at(10, 1), at(20, -3), at(50, 2)]).load == 20
    assert largest([at(10, 1), at(20, -3), at(50, 3)]).load == 20
