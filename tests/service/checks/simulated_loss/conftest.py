from decimal import Decimal

import pytest

from weighworthy_service.checks.simulated_loss.evaluation import evaluate
from weighworthy_service.metrology.instrument import HotZeroCorrection


@pytest.fixture
def weights(make):
    return [make.weight("S", "20"), make.weight("R", "5")]


@pytest.fixture
def run(make, weights):
    """Judge readings "initial final" in g (or no reading) under a limit, 0.05 % by default."""

    def of(readings="25.000 20.000", limits=None, *, start=None, end=None, **more):
        initial, final = readings.split() if readings else (None, None)
        terms = {k: more.pop(k) for k in ("start_window", "weights_correlation") if k in more}
        check = make.loss(
            make.loading("S R", initial, **(start or {})),
            make.loading("S", final, **(end or {})),
            weights,
            **more,
        )
        return evaluate(check, make.terms(limits or {"loss_error": "0.05 %"}, **terms))

    return of


@pytest.fixture
def displaying(make):
    return make.balance(loss_interval="0.01")


@pytest.fixture
def hot(make):
    """A balance with what is known of its zero in heat: a bound, or a shift with its u (g)."""

    def of(drift=None, shift=None, u="0"):
        correction = None if shift is None else HotZeroCorrection(Decimal(shift), Decimal(u))
        return make.balance(hot_zero_drift=drift, hot_zero_correction=correction)

    return of
