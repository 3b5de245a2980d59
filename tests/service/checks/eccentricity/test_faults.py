"""What a difference that is too large does to a loss."""

from fractions import Fraction

import pytest

from weighworthy_service.checks.eccentricity.as_found import as_found, readings
from weighworthy_service.checks.eccentricity.faults import faults
from weighworthy_service.checks.eccentricity.reach import reach

FAILED = {"key": "eccentricity", "name": "eccentricity", "unit": "g", "value": -0.006}
RESULTS = {"load": 20.0, "largest_difference": {"value": -0.006}}


def test_a_sample_that_moves_shows_it():
    (fault,) = faults([FAILED], RESULTS)
    effect = fault.effect(Fraction(20), None)
    # 6 mg at 20 g are 0.03 %, of the 80 % that are left.
    assert (effect.value, effect.uncertainty) == (0, pytest.approx(0.024))
    assert not fault.needs_mass


@pytest.mark.parametrize(
    ("results", "loss"), [({}, 20), ({"load": 20.0, "largest_difference": 1}, 20), (RESULTS, None)]
)
def test_what_is_not_told_is_not_guessed(results, loss):
    (fault,) = faults([FAILED], results)
    assert fault.effect(loss and Fraction(loss), None).value is None


def test_it_reaches_up_to_its_load():
    assert reach([FAILED], RESULTS).most_mass == 20


def test_what_is_followed_over_time():
    errors = {"name": "position_error", "unit": "g", "value": 0.004}
    found = [(m.criterion, m.value, m.of_weights) for m in as_found([FAILED, errors], RESULTS)]
    assert found == [("eccentricity", -0.006, False), ("position_error", 0.004, True)]


def test_readings_that_may_be_equal():
    assert readings([], {"placings": [{"net": 20.001}, {"net": 20.002}]}) == ((20.001, 20.002), 2)
