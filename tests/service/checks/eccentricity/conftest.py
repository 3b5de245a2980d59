"""Placings of an invented weight of 20 g at places of the pan."""

from decimal import Decimal

import pytest

from weighworthy_service.checks.eccentricity.check import EccentricityCheck, PlacedAt
from weighworthy_service.checks.eccentricity.evaluation import evaluate


@pytest.fixture
def check(make):
    """`placings`: position, net indication in mg above the nominal load, zero in mg or None."""

    def of(*placings, weights=None, **more):
        weights = weights or [make.weight("W20", "20")]
        load, last, placed = sum(w.nominal for w in weights), Decimal(0), []
        for position, above, zero in placings:
            last = last if zero is None else Decimal(str(zero)) / 1000
            shown = load + Decimal(str(above)) / 1000 + last
            placed.append(PlacedAt(position, shown, None if zero is None else last))
        here = make.circumstances(weights, **more)
        return EccentricityCheck(here, tuple(w.name for w in weights), tuple(placed))

    return of


@pytest.fixture
def judged(make, check):
    """The evaluation of such placings; `terms`: more of them than limits."""

    def of(*placings, limits=None, terms=None, **more):
        return evaluate(check(*placings, **more), make.terms(limits, **(terms or {})))

    return of
