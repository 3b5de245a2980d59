"""JCGM 106:2012, 9.5: global risks, against the worked examples and against simulated items.

Printed values read in the document's sources; more digits computed there with other software.
Tolerance of a printed value: half its last digit.
"""

from fractions import Fraction
from math import sqrt

import numpy as np
import pytest

from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.risk import (
    Population,
    acceptance_probability,
    averaged,
    global_risks,
    normal_population,
    passing,
)


def interval(lower: str | float | None, upper: str | float | None) -> Interval:
    return Interval(
        None if lower is None else Fraction(str(lower)),
        None if upper is None else Fraction(str(upper)),
    )


RESISTORS = normal_population(1500, 0.12)
RESISTOR_TOLERANCE = interval("1499.8", "1500.2")


def gamma_4_4(values):
    """Density of the gamma distribution with shape 4 and rate 4: 4⁴/3!·x³·exp(-4x)."""
    return 256 / 6 * values**3 * np.exp(-4 * values)


BEARINGS = Population(gamma_4_4, 0, 40)


def test_9_5_3_resistors() -> None:
    """Made to 1500 Ω with u0 = 0.12 Ω, measured with 0.04 Ω, guarded by 0.02 Ω: 1 % and 7 %."""
    risks = global_risks(RESISTORS, 0.04, RESISTOR_TOLERANCE, interval("1499.82", "1500.18"))
    assert risks.consumer == pytest.approx(0.01, abs=0.005)
    assert risks.producer == pytest.approx(0.07, abs=0.005)
    assert risks.consumer == pytest.approx(0.00987829, abs=5e-9)
    assert risks.producer == pytest.approx(0.0690265, abs=5e-8)


@pytest.mark.parametrize(
    ("accepted", "consumer", "producer"),
    [
        (("1499.8", "1500.2"), 0.0189422, 0.0372078),  # simple acceptance
        (("1499.88", "1500.12"), 0.000468634, 0.247670),  # w = U = 0.08 Ω
    ],
)
def test_9_5_3_resistors_with_other_guard_bands(accepted, consumer, producer) -> None:
    risks = global_risks(RESISTORS, 0.04, RESISTOR_TOLERANCE, interval(*accepted))
    assert risks.consumer == pytest.approx(consumer, rel=2e-6)
    assert risks.producer == pytest.approx(producer, rel=2e-6)


def test_9_5_4_bearings() -> None:
    """Error motion with a gamma prior, limit 2 µm, u_m = 0.25 µm, r = 0.65: A = 2 - 2·0.65·0.25."""
    risks = global_risks(BEARINGS, 0.25, interval(None, "2"), interval(None, "1.675"))
    assert risks.consumer == pytest.approx(0.001, abs=0.0005)
    assert risks.producer == pytest.approx(0.075, abs=0.0005)
    assert risks.consumer == pytest.approx(0.00102654, abs=5e-9)
    assert risks.producer == pytest.approx(0.0746497, abs=5e-8)


def test_9_5_4_bearings_that_do_not_conform() -> None:
    """Whatever is accepted without looking: the share that does not conform, 4.2 %."""
    all_of_them = global_risks(BEARINGS, 0.25, interval(None, "2"), interval(None, None))
    assert all_of_them.consumer == pytest.approx(0.042, abs=0.0005)
    assert all_of_them.consumer == pytest.approx(0.0423801, abs=5e-8)
    assert all_of_them.producer == pytest.approx(0, abs=1e-12)


def test_9_5_4_joint_and_conditional_probability() -> None:
    """R_P counts all bearings. Of those rejected, R_P/(R_P + p_nc - R_C) = 64 % conform."""
    risks = global_risks(BEARINGS, 0.25, interval(None, "2"), interval(None, "1.675"))
    of_rejected = risks.producer / (risks.producer + 0.0423801 - risks.consumer)
    assert of_rejected == pytest.approx(0.64, abs=0.005)


@pytest.mark.parametrize(("capability", "printed"), [(2, (0.001, 0.015)), (10, (0.0004, 0.0007))])
def test_9_5_6_capability(capability, printed) -> None:
    """u0 = T/6, no guard band: risks against C_m = T/(4 u_m), as printed."""
    found = _grid(capability, guard=0)
    assert found.consumer == pytest.approx(printed[0], abs=0.5e-4 if capability == 10 else 5e-4)
    assert found.producer == pytest.approx(printed[1], abs=0.5e-4 if capability == 10 else 5e-4)


@pytest.mark.parametrize(
    ("capability", "guard", "consumer", "producer"),
    # Computed with other software, not printed in the document.
    [
        (2, 0, 0.0009815809, 0.0146768567),
        (3, 0, 0.0008448121, 0.0054353742),
        (4, 0, 0.0007371755, 0.0030071365),
        (5, 0, 0.0006518831, 0.0020118695),
        (10, 0, 0.0004081311, 0.0007174127),
        (2, 1, 3.08299e-05, 0.2274703743),
        (3, 1, 2.43807e-05, 0.0709628548),
        (4, 1, 2.01206e-05, 0.0324603912),
        (5, 1, 1.71115e-05, 0.0188345753),
        (10, 1, 9.7601e-06, 0.0048921943),
    ],
)
def test_risks_against_capability(capability, guard, consumer, producer) -> None:
    found = _grid(capability, guard)
    assert found.consumer == pytest.approx(consumer, rel=5e-6)
    assert found.producer == pytest.approx(producer, abs=6e-11)


def _grid(capability: int, guard: int):
    """Tolerance from 0 to 1, items about its middle with u0 = 1/6, guard band of so many U."""
    u = Fraction(1, 4 * capability)
    accepted = Interval(guard * 2 * u, 1 - guard * 2 * u)
    return global_risks(normal_population(0.5, 1 / 6), float(u), interval(0, 1), accepted)


# Simulated items, the same in every run. Tolerance: four standard deviations of a counted share.
ITEMS = 2_000_000


def _expect_share(share: float, expected: float, n: int = ITEMS) -> None:
    assert share == pytest.approx(expected, abs=4 * sqrt(expected * (1 - expected) / n))


@pytest.mark.parametrize(
    ("u0", "u", "guard"), [(0.12, 0.04, 0.02), (0.12, 0.04, 0.0), (0.3, 0.1, 0.05)]
)
def test_simulated_resistors(u0, u, guard) -> None:
    rng = np.random.default_rng(106)
    true = 1500 + u0 * rng.standard_normal(ITEMS)
    seen = true + u * rng.standard_normal(ITEMS)
    conforms = np.abs(true - 1500) <= 0.2
    accepted = np.abs(seen - 1500) <= 0.2 - guard
    accepts = interval(round(1499.8 + guard, 9), round(1500.2 - guard, 9))
    risks = global_risks(normal_population(1500, u0), u, RESISTOR_TOLERANCE, accepts)
    _expect_share(np.mean(~conforms & accepted), risks.consumer)
    _expect_share(np.mean(conforms & ~accepted), risks.producer)


def test_simulated_bearings() -> None:
    rng = np.random.default_rng(954)
    true = rng.gamma(4, 1 / 4, ITEMS)
    accepted = true + 0.25 * rng.standard_normal(ITEMS) <= 1.675
    risks = global_risks(BEARINGS, 0.25, interval(None, "2"), interval(None, "1.675"))
    _expect_share(np.mean((true > 2) & accepted), risks.consumer)
    _expect_share(np.mean((true <= 2) & ~accepted), risks.producer)


@pytest.mark.parametrize("true", [0.0, 0.5, 1.5, 2.2])
def test_simulated_known_item(true) -> None:
    rng = np.random.default_rng(943)
    seen = true + 0.7 * rng.standard_normal(ITEMS)
    expected = acceptance_probability(true, 0.7, interval("-1.2", "1.5"))
    _expect_share(np.mean((seen >= -1.2) & (seen <= 1.5)), expected)


def test_simulated_years() -> None:
    """A hundred thousand sets of weights, each used for 52 checks: years with a false failure."""
    rng = np.random.default_rng(365)
    years = 100_000
    weights = 0.5 * rng.standard_normal((years, 1))
    checks = weights + 0.6 * rng.standard_normal((years, 52))
    failed = np.any(np.abs(checks) > 2, axis=1)
    passes = passing(0.6, interval("-2", "2"))
    expected = averaged(lambda off: 1 - passes(off) ** 52, 0.5, [(-2, 0.6), (2, 0.6)])
    _expect_share(np.mean(failed), expected, years)
