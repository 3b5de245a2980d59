"""Corrections between and beyond those of the certificate."""

from fractions import Fraction

import pytest

from weighworthy_service.checks.heater.probe import correction_at

CORRECTIONS = "50:0.1 100:-0.2 150:-0.4"


@pytest.mark.parametrize(
    ("reading", "correction", "slope", "doubt"),
    [
        # By hand: 0.1 - 0.3·10/50; the nearer correction is 0.1, 0.06 away.
        ("60", "0.04", "-0.006", "0.06"),
        # 0.1 - 0.3·40/50 = -0.14, 0.06 from -0.2.
        ("90", "-0.14", "-0.006", "0.06"),
        # In the middle half of the difference: 0.15.
        ("75", "-0.05", "-0.006", "0.15"),
        # On a correction nothing is interpolated; the ends belong to the certificate.
        ("50", "0.1", "-0.006", "0"),
        ("100", "-0.2", "-0.004", "0"),
        ("150", "-0.4", "-0.004", "0"),
    ],
)
def test_between_corrections(heat, reading, correction, slope, doubt):
    found = correction_at(heat.probe(CORRECTIONS), Fraction(reading))
    assert (found.correction, found.slope, found.doubt) == (
        Fraction(correction),
        Fraction(slope),
        Fraction(doubt),
    )


@pytest.mark.parametrize("reading", ["49.999999999", "150.000000001"])
def test_beyond_corrections_there_is_none(heat, reading):
    assert correction_at(heat.probe(CORRECTIONS), Fraction(reading)) is None


def test_one_correction_holds_at_its_own_reading_alone(heat):
    one = heat.probe("100:-0.2")
    assert correction_at(one, Fraction(100)).correction == Fraction("-0.2")
    assert correction_at(one, Fraction("100.1")) is None


def test_without_corrections_readings_count_as_they_stand(heat):
    found = correction_at(heat.probe(), Fraction(100))
    assert (found.correction, found.slope, found.doubt, found.segment) == (0, 0, 0, None)
