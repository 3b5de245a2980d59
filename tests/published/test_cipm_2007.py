"""Air density, conventional mass and buoyancy.

CIPM-2007 (Picard et al., Metrologia 45 (2008) 149-155): constants compared with a public
implementation that cites the paper; values computed from them, an independent equation of state
agrees to 5e-5. OIML R 111-1, E.3-1: from memory. Conventional mass: OIML D 28 (read in the IUPAC
Gold Book), 1.2 kg/m³, 8000 kg/m³, 20 °C.
"""

from collections.abc import Callable
from decimal import Decimal
from math import exp, sqrt

import pytest

from weighworthy_service.checks.contributions import Reading, buoyancy_rows, error_effects
from weighworthy_service.metrology.buoyancy import (
    Environment,
    air_density,
    unclassed_half_width,
)

# t in °C, p in Pa, relative humidity, density by CIPM-2007 and by R 111-1 E.3-1 in kg/m³.
VECTORS = [
    (20, 101325, 0.5, 1.1993144, 1.1992943),
    (20, 101325, 0.0, 1.2045573, 1.2044938),
    (15, 101325, 0.5, 1.2216316, 1.2214951),
    (25, 101325, 0.5, 1.1773161, 1.1773589),
    (20, 95000, 0.4, 1.1251443, 1.1251462),
    (22, 98000, 0.45, 1.1517992, 1.1518231),
    (18, 102500, 0.6, 1.2213364, 1.2212708),
    (27, 90000, 0.8, 1.0323899, 1.0324645),
    (10, 110000, 0.0, 1.3540661, 1.3537983),
    (30, 101325, 0.8, 1.1500133, 1.1499553),
    (23, 100000, 0.3, 1.1729797, 1.1729928),
]


@pytest.mark.parametrize(("t", "p", "h", "cipm", "_r111"), VECTORS)
def test_air_density(*, moist_air, t: float, p: float, h: float, cipm: float, _r111: float) -> None:
    assert air_density(t, p, h) == pytest.approx(cipm, abs=0.5e-7)
    assert air_density(t, p, h) == pytest.approx(moist_air(t, p, h), rel=1e-13)


def test_the_second_writing_knows_carbon_dioxide(moist_air: Callable[..., float]) -> None:
    """600 µmol/mol, not 400: 1.1994139. Ours keeps 400; the difference is 8e-5 of the value."""
    assert moist_air(20, 101325, 0.5, 0.0006) == pytest.approx(1.1994139, abs=0.5e-7)
    assert air_density(20, 101325, 0.5) == pytest.approx(1.1994139, rel=1e-4)


@pytest.mark.parametrize(("t", "p", "h", "cipm", "r111"), VECTORS)
def test_the_simpler_formula_of_r_111(t, p, h, cipm, r111) -> None:
    """E.3-1 (from memory): (0.34848 p - 0.009 h·e^(0.061 t))/(273.15 + t), p in hPa, h in %.

    Its stated relative uncertainty is 2e-4 from 900 to 1100 hPa, 10 to 30 °C, below 80 %; its table
    here recomputes, and ours agrees with it within that.
    """
    simple = (0.34848 * p / 100 - 0.009 * h * 100 * exp(0.061 * t)) / (273.15 + t)
    assert simple == pytest.approx(r111, abs=0.5e-7)
    assert air_density(t, p, h) == pytest.approx(simple, rel=2e-4)


@pytest.mark.parametrize(
    ("t", "hpa", "percent", "density"),
    [
        ("20", "1013.25", "50", 1.1993144),
        ("27", "900", "80", 1.0323899),
        ("20", "1013.25", "0", 1.2045573),
    ],
)
def test_units_of_a_request(t: str, hpa: str, percent: str, density: float) -> None:
    """°C, hPa and % as a request has them; the share is the distance from 1.2 kg/m³."""
    environment = Environment(Decimal(t), Decimal(percent), Decimal(hpa))
    expected = abs(density - 1.2) / 1.2
    assert environment.air_density_share() == pytest.approx(expected, abs=0.5e-7)


def test_unmeasured_air() -> None:
    """A tenth, unless temperature, humidity and pressure are all there (EURAMET cg-18, memory)."""
    assert Environment().air_density_share() == 0.1
    assert Environment(Decimal(20), None, Decimal(1000)).air_density_share() == 0.1
    assert Environment(Decimal(20), Decimal(50), None).air_density_share() == 0.1


@pytest.mark.parametrize(
    ("density", "relative"),
    # m_c/m - 1 = (1 - 1.2/ρ)/(1 - 1.2/8000) - 1, computed.
    [(2700, -2.94489e-4), (21400, 9.39393e-5)],
)
def test_conventional_mass(density: float, relative: float) -> None:
    """In air of 1.2 kg/m³ the buoyancy of all of the weight is what conventional mass takes off.

    Our relative bound with a share of one is 1.2·|1/ρ - 1/8000|; the definition divides by
    (1 - 1.2/8000).
    """
    ours = unclassed_half_width(density, 1.0) / (1 - 1.2 / 8000)
    assert ours == pytest.approx(abs(relative), rel=2e-6)


def test_buoyancy_of_100_g() -> None:
    """100 g of 7950 kg/m³ in air of 1.10 kg/m³: 0.00786 mg (computed)."""
    milligrams = 100_000 * unclassed_half_width(7950, 0.1 / 1.2)
    assert milligrams == pytest.approx(0.00786, abs=0.000005)


@pytest.mark.parametrize(
    ("adjusted", "milligrams"),
    # In air of 1.10 kg/m³: adjusted there 0.00786 mg, not adjusted since 1.20 kg/m³ 1.2579 mg.
    [(True, 0.00786), (False, 1.2579)],
)
def test_buoyancy_of_100_g_in_a_budget(make, adjusted: bool, milligrams: float) -> None:
    """Unmeasured air may be off by 0.12 kg/m³, 1.2 times the vector's 0.1; as a bound, over √3."""
    w = make.weight(
        "W", "100", conventional_mass="100", expanded_uncertainty="0.0001", density="7950"
    )
    around = make.circumstances(make.instrument(), [w])
    effects = error_effects(Reading("r", Decimal(100), 1), "z", ("W",))
    (row,) = buoyancy_rows(effects, around, adjusted=adjusted)
    half_digit = 0.000005 if adjusted else 0.00005
    assert row.contribution * 1000 * sqrt(3) / 1.2 == pytest.approx(milligrams, abs=half_digit)
    assumed = make.circumstances(
        make.instrument(),
        [make.weight("W", "100", conventional_mass="100", expanded_uncertainty="0.0001")],
    )
    (same,) = buoyancy_rows(effects, assumed, adjusted=adjusted)
    assert same.contribution == row.contribution  # 7950 kg/m³ is what steel is taken for
