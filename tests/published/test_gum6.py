"""JCGM GUM-6:2020, 8.9: numerical stability, with kilogram weighings (read in its sources).

In binary floats the sum of squares minus n times the squared mean loses all digits (a negative
variance is printed there). Our errors and means are exact; standard deviations are not computed
from repeats by the kinds of check there are, so what is tested is the mean and each deviation, from
which the published variance then follows without loss.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.linearity.evaluation import evaluate

# Readings in g, variance as published, and exact.
FIRST = "1000.0007122 1000.0007123 1000.0007126 1000.0007127 1000.0007128 1000.0007128 1000.0007129"
SECOND = (
    "1000.0000948 1000.0000950 1000.0000950 1000.0000950 1000.0000950 1000.0000951 1000.0000950"
)


@pytest.mark.parametrize(
    ("readings", "published", "half_digit", "exact"),
    [
        (FIRST, 7.1e-14, 0.05e-14, 7.142857142857142857e-14),
        (SECOND, 8.1e-15, 0.05e-15, 8.095238095238095238e-15),
    ],
)
def test_ill_conditioned_weighings(make, readings, published, half_digit, exact) -> None:
    w = make.weight("K", "1000", conventional_mass="1000", expanded_uncertainty="0.0001")
    shown = [Decimal(x) for x in readings.split()]
    points = tuple(Point(("K",), x, Decimal(0)) for x in shown)
    answer = evaluate(
        LinearityCheck(make.circumstances(make.instrument(), [w]), points), make.terms()
    )
    (mean,) = answer.results["curve"]
    assert mean["points"] == 7
    assert mean["error"] == Fraction(sum(shown) - 7000) / 7
    errors = [Fraction(point["error"]) for point in answer.results["points"]]
    variance = sum((e - mean["error"]) ** 2 for e in errors) / 6
    assert float(variance) == pytest.approx(published, abs=half_digit)
    assert float(variance) == pytest.approx(exact, rel=1e-15)
    floats = [float(x) for x in shown]
    naive = (sum(x * x for x in floats) - 7 * (sum(floats) / 7) ** 2) / 6
    assert abs(naive - exact) > 100 * exact  # what exactness is for
