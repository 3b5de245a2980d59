"""Small builders for the checks against the outside. No expected value stands here."""

import json
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from math import exp, inf
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.judging import Computed, Judged, judge
from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.checks.terms import Decision, LimitInForce, ProfileIdentity, Terms
from weighworthy_service.metrology.budget import BudgetRow, Uncertainty, combine
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.instrument import Eccentricity, Instrument
from weighworthy_service.metrology.limits import Limit, read_amount
from weighworthy_service.metrology.weights import ReferenceWeight


def make_terms(limits: Mapping[str, Limit] | None = None, **settings: Any) -> Terms:
    in_force = {name: LimitInForce(limit, "/rules/0") for name, limit in (limits or {}).items()}
    return Terms(ProfileIdentity("kestrel-mill", "1", "sha256:0"), in_force, **settings)


def make_instrument(
    scale_interval: str = "0.001", loss_rounding: Any = "nearest", **fields: Any
) -> Instrument:
    """Balance with every text turned into an exact number (g)."""
    exact = {k: Decimal(v) if isinstance(v, str) else v for k, v in fields.items()}
    return Instrument(Decimal(scale_interval), loss_rounding=loss_rounding, **exact)


def make_weight(name: str, nominal: str, weight_class: str | None = None, **fields: Any) -> Any:
    """Reference weight with every text turned into an exact number (g)."""
    exact = {k: Decimal(v) if isinstance(v, str) else v for k, v in fields.items()}
    return ReferenceWeight(name, Decimal(nominal), weight_class, **exact)


def make_circumstances(
    instrument: Instrument, weights: Sequence[ReferenceWeight] = (), **fields: Any
) -> Circumstances:
    return Circumstances(instrument, {weight.name: weight for weight in weights}, **fields)


def make_limit(**amounts: str) -> Limit:
    """Limit from amounts as people write them."""
    return Limit(**{side: read_amount(text) for side, text in amounts.items()})


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """The builders above."""
    return SimpleNamespace(
        terms=make_terms,
        instrument=make_instrument,
        weight=make_weight,
        circumstances=make_circumstances,
        limit=make_limit,
        environment=lambda *air: Environment(*(x and Decimal(x) for x in air)),
        eccentricity=lambda *grams: Eccentricity(*map(Decimal, grams)),
    )


@pytest.fixture(scope="session")
def budget() -> Callable[..., Uncertainty]:
    """Budget of independent contributions given as (u, degrees of freedom) in the result's unit."""

    def make(*inputs: tuple[float, float], coverage: str = "95.45") -> Uncertainty:
        rows = [BudgetRow(f"x{i}", "normal", u, "g", 1.0, nu) for i, (u, nu) in enumerate(inputs)]
        return combine(rows, Decimal(coverage))

    return make


@pytest.fixture(scope="session")
def judged() -> Callable[..., Judged]:
    """One number with a standard uncertainty, judged as every criterion is judged."""

    def make(value: str, u: float, limit: Limit, nu: float = inf, **decision: Any) -> Judged:
        name = CriterionName("value", "g")
        row = BudgetRow("given", "normal", u, "g", 1.0, nu)
        computed = Computed("value", Decimal(value), [row], weights_error=0)
        terms = make_terms({"value": limit}, decision=Decision(**decision))
        return judge(name, computed, terms, make_circumstances(make_instrument()))

    return make


@pytest.fixture(scope="session")
def data() -> Callable[[str], Any]:
    def read(name: str) -> Any:
        return json.loads((Path(__file__).parent / "data" / name).read_text("utf-8"))

    return read


@pytest.fixture(scope="session")
def moist_air() -> Callable[[float, float, float], float]:
    """CIPM-2007 written out once more, constant by constant; see test_cipm_2007 for its vectors."""

    def density(t: float, p: float, h: float, x_co2: float = 0.0004) -> float:
        k = t + 273.15
        p_sv = exp(1.2378847e-5 * k**2 - 1.9121316e-2 * k + 33.93711047 - 6.3431645e3 / k)
        x_v = h * (1.00062 + 3.14e-8 * p + 5.6e-7 * t**2) * p_sv / p
        a = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
        b = 5.707e-6 - 2.051e-8 * t
        c = 1.9898e-4 - 2.376e-6 * t
        z = 1 - p / k * (a + b * x_v + c * x_v**2) + (p / k) ** 2 * (1.83e-11 - 0.765e-8 * x_v**2)
        dry = (3.483740 + 1.4446 * (x_co2 - 0.0004)) * 1e-3
        return dry * p / (z * k) * (1 - 0.3780 * x_v)

    return density
