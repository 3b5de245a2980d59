"""Placings of an invented weight of 20 g, given by their net indications in mg above it."""

from decimal import Decimal

import pytest

from weighworthy_service.checks.repeatability.check import Placing, RepeatabilityCheck
from weighworthy_service.checks.repeatability.evaluation import evaluate

BASE = Decimal(20)


@pytest.fixture
def check(make):
    """`zeros`: of each placing in mg, or None; all placings of a tared balance without."""

    def of(above, *, zeros=None, weights=None, **more):
        zeros = zeros or [None] * len(above)
        placings, last = [], Decimal(0)
        for net, zero in zip(above, zeros, strict=True):
            last = last if zero is None else Decimal(str(zero)) / 1000
            shown = BASE + Decimal(str(net)) / 1000 + last
            placings.append(Placing(shown, None if zero is None else last))
        weights = weights or [make.weight("W20", "20")]
        here = make.circumstances(weights, **more)
        return RepeatabilityCheck(here, tuple(w.name for w in weights), tuple(placings))

    return of


@pytest.fixture
def judged(make, check):
    """The evaluation of such placings; `terms`: more of them than limits."""

    def of(above, limits=None, *, terms=None, **more):
        return evaluate(check(above, **more), make.terms(limits, **(terms or {})))

    return of
