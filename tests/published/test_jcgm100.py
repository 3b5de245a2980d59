"""JCGM 100:2008 (GUM): its worked numbers through our budgets and lines.

Values read in the document's sources; tolerance is half the last printed digit unless said.
"""

from decimal import Decimal
from fractions import Fraction
from math import floor, inf, sqrt

import pytest
import scipy.stats

from weighworthy_service.checks.contributions import digitisation
from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.linearity.evaluation import evaluate
from weighworthy_service.metrology import line
from weighworthy_service.metrology.budget import coverage_factor, t_quantile


def test_4_3_3_certificate_with_three_standard_deviations(make) -> None:
    """1000.000325 g with 240 µg at three standard deviations: u = 80 µg."""
    w = make.weight(
        "W",
        "1000",
        conventional_mass="1000.000325",
        expanded_uncertainty="0.000240",
        coverage_factor="3",
    )
    assert w.standard_uncertainty == pytest.approx(80e-6, rel=1e-12)
    assert w.standard_uncertainty**2 == pytest.approx(6.4e-9, rel=1e-12)


@pytest.mark.parametrize(("percent", "factor"), [("90", 1.64), ("95", 1.96), ("99", 2.58)])
def test_4_3_4_normal_factors(percent: str, factor: float) -> None:
    # 90 %: 1.6449 is printed 1.64.
    assert coverage_factor(inf, Decimal(percent)) == pytest.approx(factor, abs=0.005)


def test_7_2_4_weight(budget) -> None:
    """100.02147 g, u = 0.35 mg, ν = 9: k = 2.26, U = 0.79 mg.

    k·u is 0.7917 mg. The document rounds to nearest; we round up, as 7.2.6 allows, to 0.80 mg.
    """
    u = budget((0.35, 9), coverage="95")
    assert u.coverage_factor == pytest.approx(2.26, abs=0.005)
    assert u.coverage_factor * u.standard == pytest.approx(0.79, abs=0.005)
    assert u.expanded == Decimal("0.80")


def test_f_2_2_1_digital_indication(make) -> None:
    """A weighing instrument with a smallest digit of 1 g: u² = 1/12 g², u = 0.29 g."""
    (row,) = digitisation("one reading", make.instrument("1"), [Fraction(1)])
    assert row.standard_uncertainty**2 == pytest.approx(1 / 12, rel=1e-12)
    assert row.standard_uncertainty == pytest.approx(0.29, abs=0.005)


def test_g_4_1_effective_degrees_of_freedom(budget) -> None:
    """Y = b·X1·X2·X3: 0.25 %, 0.57 %, 0.82 % with n = 10, 5, 15."""
    u = budget((0.25, 9), (0.57, 4), (0.82, 14), coverage="95")
    assert u.standard == pytest.approx(1.03, abs=0.005)
    assert u.degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert u.coverage_factor == pytest.approx(2.09, abs=0.005)
    assert u.coverage_factor * u.standard == pytest.approx(2.2, abs=0.05)
    assert u.expanded == Decimal("2.2")


def test_h_1_gauge_block(budget) -> None:
    """End gauge: u_c² = 1002 nm², u_c = 32 nm, ν_eff = 16.7, t99(16) = 2.92, U99 = 93 nm.

    The document truncates 16.76 to 16.7 and then to 16; we do not truncate, so 16 is given by hand.
    """
    u = budget((25, 18), (9.7, 25.6), (2.9, 50), (16.6, 2), coverage="99")
    assert u.standard**2 == pytest.approx(1002, abs=2)  # the printed inputs are rounded
    assert u.standard == pytest.approx(32, abs=0.5)
    assert floor(u.degrees_of_freedom * 10) / 10 == 16.7
    assert coverage_factor(16, Decimal(99)) == pytest.approx(2.92, abs=0.005)
    assert coverage_factor(16, Decimal(99)) * 32 == pytest.approx(93, abs=0.5)


# Table G.2, t for 95.45 % and for 95 %; printed to two decimals, the last two rows to three.
TABLE_G_2 = [
    (1, 13.97, 12.71),
    (2, 4.53, 4.30),
    (3, 3.31, 3.18),
    (4, 2.87, 2.78),
    (5, 2.65, 2.57),
    (6, 2.52, 2.45),
    (7, 2.43, 2.36),
    (8, 2.37, 2.31),
    (9, 2.32, 2.26),
    (10, 2.28, 2.23),
    (11, 2.25, 2.20),
    (12, 2.23, 2.18),
    (13, 2.21, 2.16),
    (14, 2.20, 2.14),
    (15, 2.18, 2.13),
    (16, 2.17, 2.12),
    (17, 2.16, 2.11),
    (18, 2.15, 2.10),
    (19, 2.14, 2.09),
    (20, 2.13, 2.09),
    (25, 2.11, 2.06),
    (30, 2.09, 2.04),
    (35, 2.07, 2.03),
    (40, 2.06, 2.02),
    (45, 2.06, 2.01),
    (50, 2.05, 2.01),
    (100, 2.025, 1.984),
    (inf, 2.000, 1.960),
]


@pytest.mark.parametrize(("nu", "t9545", "t95"), TABLE_G_2)
def test_table_g_2(nu: float, t9545: float, t95: float) -> None:
    half = 0.0005 if nu >= 100 else 0.005
    assert coverage_factor(nu, Decimal("95.45")) == pytest.approx(t9545, abs=half)
    assert coverage_factor(nu, Decimal(95)) == pytest.approx(t95, abs=half)


@pytest.mark.parametrize("nu", [1, 1.5, 3.99, 16.76, 52.25, 1e6, inf])
@pytest.mark.parametrize("probability", [0.8, 0.95, 0.97725, 0.995])
def test_quantiles_between_the_rows(nu: float, probability: float) -> None:
    """Fractional degrees of freedom against scipy's distribution object, a second way through."""
    expected = (
        scipy.stats.norm.ppf(probability) if nu == inf else scipy.stats.t.ppf(probability, nu)
    )
    assert t_quantile(probability, nu) == pytest.approx(float(expected), rel=1e-10)


# H.3: thermometer readings t in °C and corrections b in °C, t0 = 20 °C.
H_3_T = [
    "21.521",
    "22.012",
    "22.512",
    "23.003",
    "23.507",
    "23.999",
    "24.513",
    "25.002",
    "25.503",
    "26.010",
    "26.511",
]
H_3_B = [
    "-0.171",
    "-0.169",
    "-0.166",
    "-0.159",
    "-0.164",
    "-0.165",
    "-0.156",
    "-0.157",
    "-0.159",
    "-0.161",
    "-0.160",
]
H_3_RESIDUALS = [
    *(-0.0031, -0.0022, -0.0003, 0.0056, -0.0005, -0.0025),
    *(0.0054, 0.0033, 0.0002, -0.0029, -0.0030),
]


def _h_3() -> tuple[list[Fraction], list[Fraction], line.Departures]:
    """Our curve always starts at (0, 0): with the first point moved there nothing else changes."""
    t, b = [Fraction(x) for x in H_3_T], [Fraction(y) for y in H_3_B]
    moved = line.least_squares([x - t[0] for x in t[1:]], [y - b[0] for y in b[1:]])
    return t, b, moved


def test_h_3_residuals() -> None:
    t, _, departures = _h_3()
    assert [float(v) for v in departures.values] == pytest.approx(H_3_RESIDUALS, abs=0.00005)
    s = sqrt(sum(v**2 for v in departures.values) / (len(t) - 2))
    assert s == pytest.approx(0.0035, abs=0.00005)


def test_h_3_line_and_its_uncertainties() -> None:
    """Intercept -0.1712(29) at t0, slope 0.00218(67), r = -0.930, b(30 °C) = -0.1494(41).

    The slope and intercept follow from two fitted values, and as our departures come with their
    sensitivities, so do the uncertainties: they are what a budget of a departure rests on.
    """
    t, b, departures = _h_3()
    s = sqrt(sum(v**2 for v in departures.values) / 9)

    def weights_of_fit(i: int) -> list[Fraction]:
        row = [-c for c in departures.sensitivities(i)]
        if i > 0:
            row[i - 1] += 1
        return [1 - sum(row), *row]  # a fit reproduces a constant: the weights add up to one

    first, last = weights_of_fit(0), weights_of_fit(10)
    slope = [(z - a) / (t[10] - t[0]) for a, z in zip(first, last, strict=True)]

    def at(x: int) -> list[Fraction]:
        return [a + (x - t[0]) * c for a, c in zip(first, slope, strict=True)]

    def value(weights: list[Fraction]) -> float:
        return float(sum(w * y for w, y in zip(weights, b, strict=True)))

    def u(weights: list[Fraction]) -> float:
        return s * sqrt(sum(w * w for w in weights))

    assert value(at(20)) == pytest.approx(-0.1712, abs=0.00005)
    assert u(at(20)) == pytest.approx(0.0029, abs=0.00005)
    assert value(slope) == pytest.approx(0.00218, abs=0.000005)
    assert u(slope) == pytest.approx(0.00067, abs=0.000005)
    together = sum(float(p * q) for p, q in zip(at(20), slope, strict=True)) * s * s
    assert together / (u(at(20)) * u(slope)) == pytest.approx(-0.930, abs=0.0005)
    assert value(at(30)) == pytest.approx(-0.1494, abs=0.00005)
    assert u(at(30)) == pytest.approx(0.0041, abs=0.00005)


def test_h_3_as_a_linearity_check(make) -> None:
    """The same residuals out of a whole check: loads t - t1 in g, errors b - b1 in g."""
    t, b = [Decimal(x) for x in H_3_T], [Decimal(y) for y in H_3_B]
    loads = [x - t[0] for x in t[1:]]
    weights = [
        make.weight(f"W{i}", str(m), conventional_mass=m, expanded_uncertainty="0.001")
        for i, m in enumerate(loads)
    ]
    points = [
        Point((w.name,), w.nominal + y - b[0], Decimal(0))
        for w, y in zip(weights, b[1:], strict=True)
    ]
    answer = evaluate(
        LinearityCheck(make.circumstances(make.instrument(), weights), tuple(points)), make.terms()
    )
    found = answer.results["nonlinearity"]["least_squares"]
    departures = [float(place["value"]) for place in found["departures"]]
    assert departures == pytest.approx(H_3_RESIDUALS, abs=0.00005)
    assert float(found["value"]) == pytest.approx(0.0056, abs=0.00005)
    assert found["load"] == loads[2]  # the fourth thermometer reading
