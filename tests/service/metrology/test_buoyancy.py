from decimal import Decimal
from math import exp

import pytest

from weighworthy_service.metrology.buoyancy import Environment, air_density, unclassed_half_width


def approximation(t, p_hpa, h):
    """OIML R 111-1:2004, formula E.3-1 (from memory): t in °C, p in hPa, h in %; within 2e-4."""
    return (0.34848 * p_hpa - 0.009 * h * exp(0.061 * t)) / (273.15 + t)


@pytest.mark.parametrize("t", [15, 20, 25])
@pytest.mark.parametrize("p", [95_000, 101_325, 105_000])
@pytest.mark.parametrize("h", [0.2, 0.5, 0.75])
def test_air_density_agrees_with_the_approximation(t, p, h):
    assert air_density(t, p, h) == pytest.approx(approximation(t, p / 100, 100 * h), rel=3e-4)


def test_air_density_of_dry_standard_air():
    # 1.2045 kg/m³ at 20 °C and 1013.25 hPa with 400 µmol/mol CO2; the ideal gas gives
    # p·M/(R·T) = 101325 · 0.0289655 / (8.31446 · 293.15) = 1.20413, and 1/Z adds 0.036 %.
    assert air_density(20, 101_325, 0) == pytest.approx(1.20413 * 1.00036, rel=3e-5)


def test_unmeasured_air_may_be_ten_percent_off():
    assert Environment().air_density_share() == 0.1


@pytest.mark.parametrize("absent", ["temperature", "relative_humidity", "pressure"])
def test_all_three_values_are_needed(absent):
    values = {
        "temperature": Decimal(20),
        "relative_humidity": Decimal(50),
        "pressure": Decimal(900),
    }
    values.pop(absent)
    assert Environment(**values).air_density_share() == 0.1


@pytest.mark.parametrize(
    ("pressure", "humidity"), [("900", "50"), ("1050", "50"), ("1013.25", "0")]
)
def test_measured_air_replaces_the_ten_percent(pressure, humidity):
    measured = Environment(Decimal(20), Decimal(humidity), Decimal(pressure))
    density = approximation(20, float(pressure), float(humidity))
    # The approximation is 2e-4 off at most, and so is the share.
    assert measured.air_density_share() == pytest.approx(abs(density - 1.2) / 1.2, abs=3e-4)


def test_zero_degrees_are_a_temperature():
    cold = Environment(Decimal(0), Decimal(0), Decimal(1000))
    # 0.34848 · 1000 / 273.15 = 1.27578 kg/m³: 6.3 % above 1.2.
    assert cold.air_density_share() == pytest.approx(0.0631, abs=5e-4)


def test_a_weight_without_class_speaks_by_its_density():
    # 0.1 · 1.2 · |1/7950 - 1/8000| = 0.12 · 50/(7950 · 8000)
    expected = 0.12 * 50 / (7950 * 8000)
    assert unclassed_half_width(7950, 0.1) == pytest.approx(expected, rel=1e-9)
    assert unclassed_half_width(8000, 0.1) == 0
    # Aluminium: 0.12 · |1/2700 - 1/8000| = 0.12 · 5300/(2700 · 8000)
    expected = 0.12 * 5300 / (2700 * 8000)
    assert unclassed_half_width(2700, 0.1) == pytest.approx(expected, rel=1e-9)
