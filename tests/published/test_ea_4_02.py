"""EA-4/02, example S2: calibration of a 10 kg weight of class M1.

Read in a public transcription: standard 10 000.005 g with U = 45 mg (k = 2), drift ± 15 mg, pooled
s = 25 mg of three, eccentricity and magnetic effects ± 10 mg, buoyancy ± 10 mg; u = 29.3 mg,
U = 59 mg.
"""

from decimal import Decimal
from math import inf, sqrt

import pytest

# Contributions in mg as another listing of the example gives them (from memory).
LISTED = (22.5, 8.95, 14.4, 5.77, 5.77)


def test_combined_and_expanded_uncertainty(budget) -> None:
    """From the inputs: 22.5, 15/√3 = 8.66, 25/√3 = 14.43, 10/√3 = 5.77 twice; u = 29.26 mg."""
    u = budget(*((x, inf) for x in (22.5, 15 / sqrt(3), 25 / sqrt(3), 10 / sqrt(3), 10 / sqrt(3))))
    assert u.standard == pytest.approx(29.3, abs=0.05)
    assert u.standard == pytest.approx(29.2617, abs=0.00005)
    assert u.expanded == Decimal(59)


def test_as_listed(budget) -> None:
    """8.95 mg for the drift does not follow from ± 15 mg (15/√3 = 8.66); both give 29.3 and 59."""
    u = budget(*((x, inf) for x in LISTED))
    assert u.standard == pytest.approx(29.3, abs=0.05)
    assert u.expanded == Decimal(59)


def test_the_standard_and_its_drift(make) -> None:
    """U/k = 22.5 mg. The example adds the drift in quadrature; we add it linearly, never less."""
    values = {"conventional_mass": "10000.005", "expanded_uncertainty": "0.045"}
    plain = make.weight("S", "10000", coverage_factor="2", **values)
    assert plain.standard_uncertainty == pytest.approx(0.0225, rel=1e-12)
    drifting = make.weight("S", "10000", coverage_factor="2", drift="0.015", **values)
    assert drifting.standard_uncertainty == pytest.approx(0.0225 + 0.0086603, abs=5e-8)
    assert drifting.standard_uncertainty > sqrt(0.0225**2 + 0.00866**2)
