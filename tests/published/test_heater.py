"""A heater check against independent libraries and the thermometer of JCGM 100:2008, H.3."""

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from scipy import stats

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.heater.chamber import SetPointRead
from weighworthy_service.checks.heater.check import Correction, HeaterCheck, Probe, SetPoint
from weighworthy_service.checks.heater.evaluation import evaluate
from weighworthy_service.checks.heater.probe import correction_at
from weighworthy_service.checks.terms import Decision, ProfileIdentity, Terms
from weighworthy_service.metrology.instrument import Instrument

D = Decimal
# JCGM 100:2008, H.3: readings of a thermometer and corrections to them, in °C and K.
CORRECTIONS = {
    "21.521": "-0.171",
    "22.012": "-0.169",
    "22.512": "-0.166",
    "23.003": "-0.159",
    "23.507": "-0.164",
    "23.999": "-0.165",
    "24.513": "-0.156",
    "25.002": "-0.157",
    "25.503": "-0.159",
    "26.010": "-0.161",
    "26.511": "-0.160",
}
READ, CORRECTION = [*map(float, CORRECTIONS)], [*map(float, CORRECTIONS.values())]
THERMOMETER = Probe(
    D("0.001"),
    D("0.01"),
    corrections=tuple(Correction(D(t), D(b)) for t, b in CORRECTIONS.items()),
)


def check(*points: SetPoint, probe: Probe = THERMOMETER) -> HeaterCheck:
    return HeaterCheck(Circumstances(Instrument(D("0.001")), {}), probe, points)


def judged(of: HeaterCheck, coverage: str = "95.45"):
    terms = Terms(ProfileIdentity("none", "1", "sha256:0"), decision=Decision(coverage=D(coverage)))
    return evaluate(of, terms)


def test_corrections_are_interpolated_as_numpy_does():
    drawn = np.random.default_rng(1)
    for _ in range(500):
        reading = Fraction(int(drawn.integers(21521, 26512)), 1000)
        expected = np.interp(float(reading), READ, CORRECTION)
        found = correction_at(THERMOMETER, reading)
        assert float(found.correction) == pytest.approx(expected, abs=1e-12)


def test_the_line_of_errors_is_that_of_the_thermometer():
    """Published: b = -0.1712 + 0.00218·(t - 20), and -0.1679 and -0.1570 at both ends.

    Each set point is a reading of the example, and its error the correction.
    """
    points = [SetPoint(D(t), (D(t) + D(b),)) for t, b in CORRECTIONS.items()]
    bare = Probe(D("0.001"), D("0.01"))
    line = judged(check(*points, probe=bare)).results["line"]
    assert float(line["slope"]) == pytest.approx(0.00218, abs=5e-6)
    low, high = (float(end["error"]) for end in line["ends"])
    assert low == pytest.approx(-0.1679, abs=5e-5)
    assert high == pytest.approx(-0.1570, abs=5e-5)
    at_20 = low + float(line["slope"]) * (20 - 21.521)
    assert at_20 == pytest.approx(-0.1712, abs=5e-5)
    fitted = stats.linregress(READ, CORRECTION)
    assert float(line["slope"]) == pytest.approx(fitted.slope, rel=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_scatter_drift_and_coverage_are_those_of_scipy(seed):
    drawn = np.random.default_rng(seed)
    readings = [D(int(t)).scaleb(-3) for t in drawn.integers(24000, 24100, drawn.integers(4, 40))]
    of = check(SetPoint(D(24), tuple(readings)))
    (row,) = judged(of).results["set_points"]
    values = np.array([*map(float, readings)])
    assert float(row["standard_deviation"]) == pytest.approx(values.std(ddof=1), rel=1e-12)
    n = len(values)
    fitted = stats.linregress(np.arange(n), values)
    assert float(row["drift"]) == pytest.approx(fitted.slope * (n - 1), abs=1e-12)
    assert float(row["drift_uncertainty"]) == pytest.approx(fitted.stderr * (n - 1), rel=1e-9)

    error = judged(of, "99").criteria[0]
    u = sqrt(sum(r.contribution**2 for r in error.budget))
    scatter = next(r for r in error.budget if r.source.startswith("scatter"))
    degrees = u**4 / (scatter.contribution**4 / (n - 1))
    assert error.coverage_factor == pytest.approx(stats.t.ppf(0.995, degrees), rel=1e-9)
    read = SetPointRead(of, 0)
    slope = float(read.corrected.slope)
    standard_error = stats.sem(values)
    assert scatter.contribution == pytest.approx((1 + slope) * standard_error, rel=1e-12)


def test_a_drift_is_told_as_scipy_finds_it_significant():
    """Two-sided p below 1 %, and a change of more than a step of the probe."""
    drawn = np.random.default_rng(7)
    told = 0
    for _ in range(200):
        n, ramp = int(drawn.integers(4, 12)), int(drawn.choice([0, 5, 20]))
        noise = map(int, drawn.integers(-40, 41, n))
        readings = [D(24000 + k * ramp + off).scaleb(-3) for k, off in enumerate(noise)]
        values = [*map(float, readings)]
        fitted = stats.linregress(range(n), values)
        wanted = fitted.pvalue < 0.01 and abs(fitted.slope * (n - 1)) > 0.001
        findings = judged(check(SetPoint(D(24), tuple(readings)))).findings
        assert ("still-drifting" in {f.code for f in findings}) == wanted
        told += wanted
    assert 20 < told < 180
