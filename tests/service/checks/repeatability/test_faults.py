"""What a scatter that is too large does to a loss."""

from fractions import Fraction
from math import sqrt

import pytest

from weighworthy_service.checks.repeatability.as_found import as_found, readings
from weighworthy_service.checks.repeatability.faults import faults
from weighworthy_service.checks.repeatability.reach import reach

FAILED = {"key": "range", "name": "range", "unit": "g", "value": 0.009, "verdict": "fail"}
RESULTS = {"load": 20.0, "standard_deviation": {"value": 0.002}}


def test_it_shifts_nothing_and_scatters():
    (fault,) = faults([FAILED], RESULTS)
    effect = fault.effect(Fraction(20), Fraction(5))
    assert effect.value == 0
    # Both readings of 5 g and 4 g with s = 2 mg: 2 · 100 · 0.002/5 · √(0.8² + 1).
    assert effect.uncertainty == pytest.approx(0.08 * sqrt(1.64))
    assert (fault.name, fault.criterion, fault.own_mass) == ("scatter", "range", 20)


@pytest.mark.parametrize(
    ("results", "loss", "mass"),
    [({}, 20, 5), ({"standard_deviation": 3}, 20, 5), (RESULTS, None, 5), (RESULTS, 20, None)],
)
def test_what_is_not_told_is_not_guessed(results, loss, mass):
    (fault,) = faults([FAILED], results)
    assert fault.effect(loss and Fraction(loss), mass and Fraction(mass)).value is None


def test_it_reaches_up_to_its_load():
    assert reach([FAILED], RESULTS).most_mass == 20
    assert reach([FAILED], {}).most_mass is None


def test_what_is_followed_over_time():
    criteria = [
        {"name": name, "unit": "g", "value": value, "load": None}
        for name, value in (
            ("standard_deviation", 0.002),
            ("range", 0.009),
            ("smallest_net_mass", 4),
        )
    ]
    found = [(m.criterion, m.value, m.of_weights) for m in as_found(criteria, RESULTS)]
    assert found == [("standard_deviation", 0.002, False), ("range", 0.009, False)]


def test_readings_that_may_be_equal():
    assert readings([], {"placings": [{"net": 20.001}, {"net": 20.002}]}) == ((20.001, 20.002), 2)
    assert readings([], {"placings": 3}) == ((), 0)
