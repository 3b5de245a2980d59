"""Builders of heater checks: numbers as they stand in a request, in °C, K and s."""

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.heater.check import (
    Correction,
    HeaterCheck,
    Probe,
    SetPoint,
    TimedTemperature,
)
from weighworthy_service.checks.heater.evaluation import evaluate
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.metrology.instrument import Instrument

D = Decimal


def probe(corrections: str = "", **more: Any) -> Probe:
    """`corrections` as `50:0.1 100:-0.2`."""
    pairs = [pair.split(":") for pair in corrections.split()]
    known = tuple(Correction(D(at), D(c)) for at, c in pairs)
    stated = {"interval": "0.1", "expanded_uncertainty": "0.3", **more}
    exact = {k: D(v) if isinstance(v, str) else v for k, v in stated.items()}
    return Probe(corrections=known, **exact)


def point(set_: str, readings: str, series: str = "", **more: Any) -> SetPoint:
    """`readings` parted by blanks, `series` as `60:88.9 120:104.1`."""
    timed = [pair.split(":") for pair in series.split()]
    exact = {k: D(v) if isinstance(v, str) else v for k, v in more.items()}
    return SetPoint(
        D(set_),
        tuple(map(D, readings.split())),
        series=tuple(TimedTemperature(D(at), D(t)) for at, t in timed),
        **exact,
    )


def check(of: Probe, *points: SetPoint, here: dict[str, Any] | None = None, **more: Any):
    exact = {k: D(v) if isinstance(v, str) and k != "place" else v for k, v in more.items()}
    circumstances = Circumstances(Instrument(D("0.001")), {}, **(here or {}))
    return HeaterCheck(circumstances, of, tuple(points), **exact)


@pytest.fixture(scope="session")
def heat(make: SimpleNamespace) -> SimpleNamespace:
    def judged(of: HeaterCheck, limits: dict[str, Any] | None = None, **more: Any) -> Evaluation:
        return evaluate(of, make.terms(limits, **more))

    return SimpleNamespace(probe=probe, point=point, check=check, judged=judged)
