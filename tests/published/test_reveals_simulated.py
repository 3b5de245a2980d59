"""Does a simulated loss find with 95 % probability what its answer says it would find?

Reproducible Monte Carlo of the physics, a source outside our arithmetic: 200 000 runs of 2 g lifted
off 10 g, with a zero, two rounded readings, normal scatter, and the fault at the size that the
answer names. The answer takes the sum of roundings and scatter as normal and the limits one side at
a time; with scatter above the scale interval that is good to a few parts in a thousand.
"""

from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.evaluation import evaluate

D, S, TOLERANCE = 0.001, 0.0015, 0.05


def _rows(make: Any, **rule: Any) -> dict[str, Any]:
    weights = [
        make.weight(name, mass, conventional_mass=mass, expanded_uncertainty="0")
        for name, mass in (("A", "8"), ("B", "2"))
    ]
    done = SimulatedLossCheck(
        make.circumstances(make.instrument(str(D), repeatability=str(S)), weights),
        Loading(("A", "B"), Decimal(10)),
        Loading(("A",), Decimal(8)),
    )
    limits = {"loss_error": make.limit(within=f"{TOLERANCE} %")}
    answer = evaluate(done, make.terms(limits, **rule))
    return {row["fault"]: row for row in answer.results["reveals"]}


def _simulated(fault: str, size: float) -> float:
    """Share of runs outside the tolerance."""
    draw = np.random.default_rng(95)
    n = 200_000
    zero, first, last = draw.uniform(-D / 2, D / 2, (3, n))
    first, last = first + draw.normal(0, S, n), last + draw.normal(0, S, n)
    stays, lifted, common, late_zero, late_gain = 8.0, 2.0, 0.0, 0.0, 0.0
    match fault:
        case "zero-change":
            late_zero = size
        case "common-zero":
            common = size
        case "gain-change":
            late_gain = size
        case "removed-weight":
            lifted += size
        case "staying-weight":
            stays += size
    start = stays + lifted + common + first - zero
    end = stays * (1 + late_gain) + common + late_zero + last - zero
    errors = 100 * (start - end) / start - 20
    return float((np.abs(errors) > TOLERANCE).mean())


@pytest.mark.parametrize(
    "fault", ["zero-change", "common-zero", "gain-change", "removed-weight", "staying-weight"]
)
def test_the_smallest_fault_shows_with_95_percent(make, fault: str) -> None:
    smallest = _rows(make)[fault]["smallest"]
    assert _simulated(fault, smallest) == pytest.approx(0.95, abs=0.006)
    # Half of it does not, so that the figure is no mere upper bound.
    assert _simulated(fault, smallest / 2) < 0.6


def test_a_constant_gain_has_no_size_and_never_shows(make) -> None:
    assert _rows(make)["constant-gain"]["smallest"] is None
    start, end = 10.0 * 1.05, 8.0 * 1.05
    assert 100 * (start - end) / start == pytest.approx(20, abs=1e-12)
