"""NIST Statistical Reference Datasets (public domain), in data/nist_strd.json.

Our least-squares line always has a point (0, 0). It takes these sets all the same: a line fit does
not change when one of its points is moved to the origin. Repeated loads, which a linearity check
averages first, go straight into the function. What it gives are departures and sensitivities; the
line follows from two fitted values. Repeated readings are held against the univariate sets.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any

import pytest
import scipy.stats

from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.linearity.evaluation import evaluate
from weighworthy_service.metrology import line, spread


@pytest.fixture(scope="module")
def strd(data: Any) -> dict[str, Any]:
    return data("nist_strd.json")


def _exact(texts: Sequence[str]) -> list[Fraction]:
    return [Fraction(text) for text in texts]


def _fit(xs: list[Fraction], ys: list[Fraction]) -> tuple[Fraction, Fraction, list[Fraction]]:
    """Intercept, slope and residuals of our line, the first point (of smallest x) moved to zero."""
    assert min(xs) == xs[0]
    departures = line.least_squares([x - xs[0] for x in xs[1:]], [y - ys[0] for y in ys[1:]])
    fitted = [y - v for y, v in zip(ys, departures.values, strict=True)]
    far = max(range(len(xs)), key=lambda i: xs[i])
    slope = (fitted[far] - fitted[0]) / (xs[far] - xs[0])
    return fitted[0] - slope * xs[0], slope, list(departures.values)


def _expect_agreement(ours: Fraction | float, certified: str) -> None:
    """To the last certified digit, half of it allowed."""
    stated = Decimal(certified)
    half = Fraction(1, 2) * Fraction(Decimal(1).scaleb(stated.as_tuple().exponent))
    if isinstance(ours, float):
        assert ours == pytest.approx(float(stated), rel=1e-14)
    else:
        assert abs(ours - Fraction(stated)) <= half


def test_norris(strd: dict[str, Any]) -> None:
    """All 15 certified digits of slope, intercept, residual sum of squares and R²; s as a float."""
    norris = strd["Norris"]
    xs, ys = _exact(norris["x"]), _exact(norris["y"])
    assert len(xs) == 36
    intercept, slope, residuals = _fit(xs, ys)
    _expect_agreement(intercept, norris["B0"])
    _expect_agreement(slope, norris["B1"])
    left = sum((r * r for r in residuals), Fraction(0))
    _expect_agreement(left, norris["SS_residual"])
    _expect_agreement(sqrt(left / 34), norris["residual_sd"])
    mean = sum(ys) / 36
    _expect_agreement(1 - left / sum((y - mean) ** 2 for y in ys), norris["R2"])


def test_norris_uncertainties(strd: dict[str, Any]) -> None:
    """The certified deviations of slope and intercept, from our sensitivities: rows of I - H."""
    norris = strd["Norris"]
    xs, ys = _exact(norris["x"]), _exact(norris["y"])
    found = line.least_squares([x - xs[0] for x in xs[1:]], [y - ys[0] for y in ys[1:]])
    s = sqrt(sum(v * v for v in found.values) / 34)

    def fit_weights(i: int) -> list[Fraction]:
        row = [-c for c in found.sensitivities(i)]
        if i > 0:
            row[i - 1] += 1
        return [1 - sum(row), *row]

    first, far = fit_weights(0), fit_weights(xs.index(max(xs)))
    slope = [(b - a) / (max(xs) - xs[0]) for a, b in zip(first, far, strict=True)]
    intercept = [a - c * xs[0] for a, c in zip(first, slope, strict=True)]
    _expect_agreement(s * sqrt(sum(c * c for c in slope)), norris["sd_B1"])
    _expect_agreement(s * sqrt(sum(c * c for c in intercept)), norris["sd_B0"])


def test_norris_with_zero_added(strd: dict[str, Any]) -> None:
    """As a check uses it, with (0, 0) as one more point, against scipy on the same 37 points."""
    norris = strd["Norris"]
    xs, ys = _exact(norris["x"]), _exact(norris["y"])
    reference = scipy.stats.linregress([float(x) for x in xs], [float(y) for y in ys])
    assert reference.slope == pytest.approx(
        float(norris["B1"]), rel=1e-12
    )  # scipy is to be trusted
    assert reference.intercept == pytest.approx(float(norris["B0"]), rel=1e-9)
    with_zero = scipy.stats.linregress([0.0, *map(float, xs)], [0.0, *map(float, ys)])
    departures = line.least_squares(xs, ys).values
    for x, y, ours in zip([0, *xs], [0, *ys], departures, strict=True):
        theirs = float(y) - (with_zero.intercept + with_zero.slope * float(x))
        assert float(ours) == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize("name", ["NoInt1", "NoInt2"])
def test_no_intercept(strd: dict[str, Any], name: str) -> None:
    """A line through zero is the free line through the points and their mirror images at zero.

    None of our four lines is the least-squares line through zero: this tests the free one only.
    """
    given = strd[name]
    xs, ys = _exact(given["x"]), _exact(given["y"])
    mirrored = sorted([*zip(xs, ys, strict=True), *((-x, -y) for x, y in zip(xs, ys, strict=True))])
    intercept, slope, residuals = _fit([x for x, _ in mirrored], [y for _, y in mirrored])
    assert intercept == 0
    _expect_agreement(slope, given["B1"])
    left = sum((r * r for r in residuals), Fraction(0)) / 2
    _expect_agreement(left, given["SS_residual"])
    _expect_agreement(sqrt(left / (len(xs) - 1)), given["residual_sd"])


def test_pontius_says_that_r_squared_is_useless(strd: dict[str, Any]) -> None:
    """A load cell with a certified quadratic: R² of the straight line is 0.99999, and yet its
    residual deviation is 2.171e-3, ten times that of the quadratic (2.052e-4).

    So linearity is judged by departures, never by R².
    """
    pontius = strd["Pontius"]
    xs, ys = _exact(pontius["x"]), _exact(pontius["y"])
    _, _, residuals = _fit(xs, ys)
    left = sum((r * r for r in residuals), Fraction(0))
    s = sqrt(left / 38)
    assert s == pytest.approx(2.171e-3, abs=0.0005e-3)
    assert s > 10 * float(pontius["residual_sd"])
    mean = sum(ys) / 40
    assert 1 - left / sum((y - mean) ** 2 for y in ys) > Fraction("0.9999")


def test_pontius_curve_departs_as_its_certified_quadratic(strd: dict[str, Any]) -> None:
    """Of B0 + B1·x + B2·x² any straight part drops out: from the chord it departs by B2·(x-a)(x-b).

    Over 20 equally spaced loads the largest is B2·(1.35e6·1.5e6) beside the middle; the free
    minimax line halves a parabola's departure, so two of the four numbers differ by two.
    """
    pontius = strd["Pontius"]
    b0, b1, b2 = (Fraction(pontius[name]) for name in ("B0", "B1", "B2"))
    xs = sorted(set(_exact(pontius["x"])))
    ys = [b0 + b1 * x + b2 * x * x for x in xs]
    loads, errors = [x - xs[0] for x in xs[1:]], [y - ys[0] for y in ys[1:]]
    chord = max(line.terminal(loads, errors).values, key=abs)
    assert chord == -b2 * 1_350_000 * 1_500_000
    assert float(chord) == pytest.approx(6.4007e-3, abs=0.00005e-3)
    free = max(abs(v) for v in line.independent(loads, errors).values)
    assert free == chord / 2


def test_norris_slope_and_its_deviation(strd: dict[str, Any]) -> None:
    """The same line by the sums that a drift is told by: slope and both deviations."""
    norris = strd["Norris"]
    found = spread.slope(_exact(norris["x"]), _exact(norris["y"]))
    assert found.residual is not None
    _expect_agreement(found.value, norris["B1"])
    _expect_agreement(Fraction(spread.root(found.residual)), norris["residual_sd"])
    _expect_agreement(Fraction(spread.root(found.residual / found.extent)), norris["sd_B1"])


SINGLE = ["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4", "Michelso", "Mavro", "Lew"]


@pytest.mark.parametrize("name", SINGLE)
def test_means_and_standard_deviations(strd: dict[str, Any], name: str) -> None:
    """Every certified digit, also where doubles lose eight of them (NumAcc4)."""
    given = strd[name]
    readings = [Decimal(y) for y in [*given["y"], *(given.get("then", []) * given.get("times", 0))]]
    assert len(readings) == given["n"]
    assert spread.mean(readings) == Fraction(given["mean"])
    found = spread.standard_deviation(readings)
    if given.get("exact"):
        assert found == Decimal(given["sd"])
    else:
        _expect_agreement(Fraction(found), given["sd"])


def test_a_sum_of_squares_that_doubles_lose() -> None:
    """JCGM GUM-6:2020, 8.9: masses near 1 kg that scatter in the seventh decimal of a gram.

    Published: s² = 8.1e-15 g², where the mean of squares less the square of the mean gives
    -3.1e-10. By hand, in 0.1 µg from 1000.0000950: -2, 0, 0, 0, 0, 1, 0, of mean -1/7; squares
    5 - 7/49 = 34/7, over 6: 17/21, so s² = 17/21·10⁻¹⁴.
    """
    last = ("48", "50", "50", "50", "50", "51", "50")
    found = spread.variance([Decimal(f"1000.00009{digits}") for digits in last])
    assert found == Fraction(17, 21) / 10**14
    assert float(found) == pytest.approx(8.1e-15, abs=0.05e-15)


@pytest.mark.parametrize("name", ["NumAcc1", "NumAcc2", "NumAcc3", "Michelso", "Mavro"])
def test_means_are_exact(make, *, strd: dict[str, Any], name: str) -> None:
    """Repeats of one load: the mean error of the curve has every certified digit of the mean."""
    given = strd[name]
    readings = [*given["y"], *(given.get("then", []) * given.get("times", 0))]
    assert len(readings) == given["n"]
    weight = make.weight("W", "1", conventional_mass="1", expanded_uncertainty="0.001")
    points = tuple(Point(("W",), Decimal(y), Decimal(0)) for y in readings)
    answer = evaluate(
        LinearityCheck(make.circumstances(make.instrument(), [weight]), points), make.terms()
    )
    (place,) = answer.results["curve"]
    assert place["points"] == given["n"]
    assert place["error"] + 1 == Fraction(given["mean"])
