"""Whole budgets a second time, with GTC: uncertain inputs put through the measurement model.

Nothing here uses a sensitivity or a budget row of ours. Inputs are what the model says they are:
d/√12 for each reading and each zero, one repeatability estimate for all loaded readings (an
ensemble in GTC), weights that share one input wherever they count as fully correlated, buoyancy
likewise, and one relative input for each load that is built up of several weights.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from math import inf, sqrt
from types import SimpleNamespace
from typing import Any

import pytest
import scipy.stats
from GTC import dof, multiple_ureal, uncertainty, ureal, value
from GTC import reporting as rp
from hypothesis import strategies as st

# Class limits in mg, typed once more (OIML R 111-1:2004, Table 1).
MPE = {
    "OIML E2": {"50": 0.10, "20": 0.08, "10": 0.06, "5": 0.05, "2": 0.04, "1": 0.03},
    "OIML F1": {"50": 0.3, "20": 0.25, "10": 0.20, "5": 0.16, "2": 0.12, "1": 0.10},
    "OIML M1": {"50": 3.0, "20": 2.5, "10": 2.0, "5": 1.6, "2": 1.2, "1": 1.0},
}
NOMINALS = {"W50": "50", "W20": "20", "V20": "20", "W10": "10", "W5": "5", "W2": "2", "W1": "1"}


def _decimal(draw: st.DrawFn, low: int, high: int, places: int) -> str:
    """A number between low and high units of the last place, as text."""
    return str(Decimal(draw(st.integers(low, high))).scaleb(-places))


@dataclass(frozen=True)
class Sitting:
    """What was drawn: fields of our objects, as texts in g, and air as (°C, %, hPa)."""

    d: str
    balance: Mapping[str, Any]
    eccentricity: tuple[str, str] | None
    weights: Mapping[str, Mapping[str, str]]
    air: tuple[str, str, str] | None
    correlation: str
    after_adjustment: bool


@st.composite
def sittings(draw: st.DrawFn) -> Sitting:
    balance: dict[str, Any] = {}
    if draw(st.booleans()):
        balance["repeatability"] = _decimal(draw, 0, 300, 5)
        if draw(st.booleans()):
            balance["repeatability_observations"] = draw(st.integers(2, 30))
    eccentricity = (_decimal(draw, 0, 30, 4), "20") if draw(st.booleans()) else None
    weights = {}
    for name, nominal in NOMINALS.items():
        weight = {"nominal": nominal}
        kind = draw(st.sampled_from(["class", "certificate", "both"]))
        if kind != "certificate":
            weight["weight_class"] = draw(st.sampled_from(sorted(MPE)))
        if kind != "class":
            off = Decimal(_decimal(draw, -500, 500, 6))
            weight["conventional_mass"] = str(Decimal(nominal) + off)
            weight["expanded_uncertainty"] = _decimal(draw, 1, 2000, 6)
            if draw(st.booleans()):
                weight["coverage_factor"] = _decimal(draw, 150, 300, 2)
        if draw(st.booleans()):
            weight["drift"] = _decimal(draw, 0, 300, 6)
        if draw(st.booleans()):
            weight["density"] = str(draw(st.integers(7000, 9000)))
        weights[name] = weight
    air = None
    if draw(st.booleans()):
        t, h, p = (
            _decimal(draw, 150, 270, 1),
            _decimal(draw, 0, 1000, 1),
            _decimal(draw, 9000, 11000, 1),
        )
        air = (t, h, p)
    correlation = draw(st.sampled_from(["by-sign", "by-sign", "independent", "worst"]))
    d = draw(st.sampled_from(["0.01", "0.001", "0.0001"]))
    return Sitting(d, balance, eccentricity, weights, air, correlation, draw(st.booleans()))


class GtcModel:
    """GTC inputs of one sitting. Each criterion is built twice: for signs, and for the budget."""

    def __init__(self, sitting: Sitting, moist_air: Callable[..., float]) -> None:
        self.sitting = sitting
        self.air_share = 0.1
        if sitting.air is not None:
            t, h, p = map(float, sitting.air)
            self.air_share = abs(moist_air(t, p * 100, h / 100) - 1.2) / 1.2

    def nominal(self, load: Iterable[str]) -> Decimal:
        return sum((Decimal(self.sitting.weights[n]["nominal"]) for n in load), Decimal(0))

    def mass(self, name: str) -> Decimal:
        weight = self.sitting.weights[name]
        return Decimal(weight.get("conventional_mass", weight["nominal"]))

    def _mpe(self, name: str) -> float | None:
        weight = self.sitting.weights[name]
        if "weight_class" not in weight:
            return None
        return MPE[weight["weight_class"]][weight["nominal"]] / 1000

    def u_mass(self, name: str) -> float:
        """U/k, or mpe/√3; a stated drift/√3 on top."""
        weight = self.sitting.weights[name]
        if "conventional_mass" in weight:
            u = float(weight["expanded_uncertainty"]) / float(weight.get("coverage_factor", 2))
        else:
            u = self._mpe(name) / sqrt(3)
        return u + float(weight.get("drift", 0)) / sqrt(3)

    def u_buoyancy(self, name: str, *, adjusted: bool) -> float:
        weight = self.sitting.weights[name]
        nominal, mpe = float(weight["nominal"]), self._mpe(name)
        if mpe is not None:
            half_width = mpe / 4
        else:
            density = float(weight.get("density", 7950))
            half_width = nominal * self.air_share * 1.2 * abs(1 / density - 1 / 8000)
        if not adjusted:
            half_width += nominal * self.air_share * 1.2 / 8000
        return half_width / sqrt(3)

    def budget(
        self,
        readings: Iterable[Any],
        criterion: Callable[["Inputs", Mapping[str, Any]], Any],
        names: Iterable[str],
        *,
        adjusted: bool | None,
    ) -> tuple[float, float, float]:
        """(value, u, ν) of a criterion.

        `criterion` takes the inputs of readings and zeros, and the weights (mass with buoyancy) as
        uncertain numbers. `adjusted` None: no buoyancy.
        """
        names = sorted(set(names))
        trial = {n: ureal(float(self.mass(n)), 1.0) for n in names}
        y = criterion(Inputs(self, readings), trial)
        slopes = {n: rp.sensitivity(y, trial[n]) for n in names}
        signs = {n: 0 if abs(c) < 1e-12 else (1 if c > 0 else -1) for n, c in slopes.items()}
        shared = {key: ureal(0, 1) for key in ("+", "-", "all", *names)}
        aloft = {sign: ureal(0, 1) for sign in (1, -1)}
        masses = {}
        for n in names:
            if self.sitting.correlation == "independent":
                part = shared[n]
            elif self.sitting.correlation == "worst":
                part = shared["all"] * signs[n]
            else:
                part = shared["+" if signs[n] > 0 else "-"]
            masses[n] = float(self.mass(n)) + self.u_mass(n) * part
            if adjusted is not None and signs[n]:
                masses[n] += self.u_buoyancy(n, adjusted=adjusted) * aloft[signs[n]]
        y = criterion(Inputs(self, readings), masses)
        return value(y), uncertainty(y), dof(y)


@dataclass
class Inputs:
    """Inputs of the readings, made on first use; the repeatability ensemble at once."""

    model: GtcModel
    readings: Iterable[Any]
    made: dict[Any, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        keys = list(self.readings)
        s = float(self.model.sitting.balance.get("repeatability", 0))
        n = self.model.sitting.balance.get("repeatability_observations")
        if s == 0:
            self.scatter = dict.fromkeys(keys, 0.0)
        else:
            nu = inf if n is None else n - 1
            ensemble = multiple_ureal([0.0] * len(keys), [s] * len(keys), nu)
            self.scatter = dict(zip(keys, ensemble, strict=True))

    def digit(self, key: Any) -> Any:
        """d/√12, one input a key."""
        if key not in self.made:
            self.made[key] = ureal(0, float(self.model.sitting.d) / sqrt(12))
        return self.made[key]

    def loaded(self, key: Any, shown: float, load: tuple[str, ...]) -> Any:
        """A loaded reading with all that clings to it."""
        reading = shown + self.digit(("loaded", key)) + self.scatter[key]
        eccentricity = self.model.sitting.eccentricity
        if eccentricity is not None and len(load) > 1 and float(eccentricity[0]) > 0:
            share = float(eccentricity[0]) / (2 * float(eccentricity[1]) * sqrt(3))
            reading += ureal(0, share) * float(self.model.nominal(load))
        return reading

    def zero(self, key: Any, shown: float) -> Any:
        return shown + self.digit(("zero", key))


def _agrees(criterion: Any, expected: tuple[float, float, float], scale: float) -> None:
    """u, ν, k to 1e-9; the value to 1e-9 of itself or 1e-14 of what it is a difference of."""
    y, u, nu = expected
    assert float(criterion.value) == pytest.approx(y, rel=1e-9, abs=1e-14 * scale)
    assert criterion.standard_uncertainty == pytest.approx(u, rel=1e-9)
    if nu == inf:
        assert criterion.degrees_of_freedom == inf
        k = float(scipy.stats.norm.ppf(scipy.stats.norm.cdf(2)))
    else:
        assert criterion.degrees_of_freedom == pytest.approx(nu, rel=1e-9)
        k = float(scipy.stats.t.ppf(scipy.stats.norm.cdf(2), nu))
    assert criterion.coverage_factor == pytest.approx(k, rel=1e-9)
    _stated(criterion.expanded_uncertainty, k * u)


def _stated(ours: Decimal, expanded: float) -> None:
    """k·u rounded up to two digits: not below it, and less than one unit of the second above."""
    unit = 10.0 ** (ours.adjusted() - 1)
    assert len(ours.as_tuple().digits) <= 2
    assert expanded * (1 - 1e-9) <= float(ours) < expanded * (1 + 1e-9) + unit


@pytest.fixture(scope="session")
def gtc(make: Any, moist_air: Callable[..., float]) -> SimpleNamespace:
    """Strategies, the model, the comparison, and our own objects of the same sitting."""

    def circumstances(sitting: Sitting, **fields: Any) -> Any:
        balance = dict(sitting.balance) | fields
        if sitting.eccentricity is not None:
            balance["eccentricity"] = make.eccentricity(*sitting.eccentricity)
        weights = [make.weight(name, **w) for name, w in sitting.weights.items()]
        return make.circumstances(
            make.instrument(sitting.d, **balance),
            weights,
            environment=make.environment(*(sitting.air or (None, None, None))),
            occasion="after-adjustment" if sitting.after_adjustment else "routine",
        )

    return SimpleNamespace(
        sittings=sittings(),
        model=lambda sitting: GtcModel(sitting, moist_air),
        circumstances=circumstances,
        agrees=_agrees,
        stated=_stated,
        terms=lambda sitting: make.terms(weights_correlation=sitting.correlation),
    )
