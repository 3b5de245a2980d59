"""The line of a series against NIST Statistical Reference Datasets, in data/nist_strd.json."""

from fractions import Fraction
from math import sqrt
from typing import Any

import pytest

from weighworthy_service.logbook.drift.slope import fit


@pytest.fixture(scope="module")
def strd(data: Any) -> dict[str, Any]:
    return data("nist_strd.json")


def test_norris(strd: dict[str, Any]) -> None:
    """Certified slope, intercept, their deviations, and the residual deviation."""
    norris = strd["Norris"]
    xs, ys = ([float(text) for text in norris[name]] for name in ("x", "y"))
    line = fit(xs, ys, 0.95)
    assert line.slope == pytest.approx(float(norris["B1"]), rel=1e-13)
    assert line.at(0) == pytest.approx(float(norris["B0"]), rel=1e-10)
    assert line.u_slope == pytest.approx(float(norris["sd_B1"]), rel=1e-9)
    assert line.u_value * sqrt(36) == pytest.approx(float(norris["residual_sd"]), rel=1e-9)
    assert line.half_width(0) / line.quantile == pytest.approx(float(norris["sd_B0"]), rel=1e-9)
    # Student's t, 95 %, 34 degrees of freedom, from a table.
    assert line.quantile == pytest.approx(2.0322, abs=0.00005)


def test_pontius(strd: dict[str, Any]) -> None:
    """A load cell over seven orders of magnitude, against the normal equations in fractions."""
    pontius = strd["Pontius"]
    xs, ys = ([Fraction(text) for text in pontius[name]] for name in ("x", "y"))
    n = len(xs)
    middle, value = sum(xs) / n, sum(ys) / n
    spread = sum((x - middle) ** 2 for x in xs)
    slope = sum((x - middle) * (y - value) for x, y in zip(xs, ys, strict=True)) / spread
    left = sum((y - value - slope * (x - middle)) ** 2 for x, y in zip(xs, ys, strict=True))
    line = fit([float(x) for x in xs], [float(y) for y in ys], 0.95)
    assert line.slope == pytest.approx(float(slope), rel=1e-13)
    assert line.u_slope == pytest.approx(sqrt(left / (n - 2) / spread), rel=1e-6)
