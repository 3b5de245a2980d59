"""JCGM 101:2008, 9.3: calibration of a mass standard, and what first order misses of buoyancy.

Published (read in the document's sources): δm = 1.234 mg; u = 0.0539 mg by first order, 0.0754 mg
by Monte Carlo. All first derivatives with respect to the densities vanish at the estimates.
"""

from decimal import Decimal
from math import sqrt

import numpy as np
import pytest

from weighworthy_service.metrology.buoyancy import unclassed_half_width


def _monte_carlo() -> tuple[float, float]:
    draw = np.random.default_rng(20080901)
    n = 720_000
    mass = draw.normal(100_000.000, 0.050, n) + draw.normal(1.234, 0.020, n)
    air = draw.uniform(1.10, 1.30, n)
    ours, theirs = draw.uniform(7000, 9000, n), draw.uniform(7950, 8050, n)
    found = mass * (1 + (air - 1.2) * (1 / ours - 1 / theirs)) - 100_000
    return float(found.mean()), float(found.std())


def test_first_order(budget) -> None:
    """u = √(0.050² + 0.020²) = 0.0539 mg; the 95 % half-interval printed is 0.1055 mg."""
    u = budget((0.050, float("inf")), (0.020, float("inf")), coverage="95")
    assert u.standard == pytest.approx(0.0539, abs=0.00005)
    assert u.coverage_factor * u.standard == pytest.approx((1.3395 - 1.1285) / 2, abs=0.0001)
    assert u.expanded == Decimal("0.11")


def test_our_bound_covers_what_first_order_misses() -> None:
    """0.0754 mg by Monte Carlo. We take buoyancy as a bound, so we may not be below that.

    A weight of 7000 kg/m³, the lightest of the example, in air of 1.2 ± 0.1 kg/m³ (share 0.1/1.2):
    100 000 mg · 0.1 · |1/7000 - 1/8000| = 0.179 mg half width, 0.103 mg standard uncertainty.
    """
    mean, spread = _monte_carlo()
    # Two runs of this length differ by 0.00013 mg (mean) and less (spread); four times that.
    assert mean == pytest.approx(1.2341, abs=0.0005)
    assert spread == pytest.approx(0.0754, abs=0.0005)
    half_width = 100_000 * unclassed_half_width(7000, 0.1 / 1.2)
    assert half_width == pytest.approx(0.17857, abs=0.00001)
    assert sqrt(0.0539**2 + half_width**2 / 3) >= spread
