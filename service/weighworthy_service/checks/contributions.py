"""How the inputs of a check act on one criterion, and the budget that follows.

Every reading, every zero and every weight is one input, however often it is used: its sensitivities
add up first, so that what is common to several readings can cancel.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import fsum, inf, sqrt
from typing import Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.buoyancy import (
    ASSUMED_WEIGHT_DENSITY,
    REFERENCE_AIR_DENSITY,
    REFERENCE_WEIGHT_DENSITY,
    unclassed_half_width,
)
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.weights import ReferenceWeight

ROOT_3 = sqrt(3)
ROOT_12 = sqrt(12)

Unit = Literal["g", "%"]

# Exact where inputs must cancel exactly, a float where they cannot.
Real = Fraction | float


@dataclass(frozen=True, slots=True)
class Reading:
    """A loaded reading as an input: its own key, the nominal mass on the pan, how many weights."""

    key: str
    nominal: Decimal
    weights: int


@dataclass(frozen=True, slots=True)
class Effects:
    """Sensitivities of a criterion to loaded readings, zeros and weights."""

    readings: Mapping[Reading, Real] = field(default_factory=dict)
    zeros: Mapping[str, Real] = field(default_factory=dict)
    weights: Mapping[str, Fraction] = field(default_factory=dict)


def error_effects(reading: Reading, zero: str, load: Sequence[str]) -> Effects:
    """Effects on an error E = (I - Z) - Σm."""
    return Effects({reading: Fraction(1)}, {zero: Fraction(-1)}, dict.fromkeys(load, Fraction(-1)))


def combined(parts: Iterable[tuple[Fraction, Effects]]) -> Effects:
    """Effects on a weighted sum."""
    readings: dict[Reading, Real] = defaultdict(Fraction)
    zeros: dict[str, Real] = defaultdict(Fraction)
    weights: dict[str, Fraction] = defaultdict(Fraction)
    for factor, part in parts:
        for reading, c in part.readings.items():
            readings[reading] += factor * c
        for zero, c in part.zeros.items():
            zeros[zero] += factor * c
        for name, c in part.weights.items():
            weights[name] += factor * c
    return Effects(readings, zeros, weights)


def budget_rows(
    effects: Effects, circumstances: Circumstances, correlation: str, unit: Unit
) -> list[BudgetRow]:
    """Rows of digitisation, repeatability, weights and built-up loads; buoyancy comes apart."""
    instrument = circumstances.instrument
    loaded = list(effects.readings.values())
    rows = [
        *digitisation("loaded readings", instrument, loaded),
        *digitisation("zero readings", instrument, list(effects.zeros.values())),
        *repeatability(instrument, loaded),
        *_weights(effects.weights, circumstances, correlation, unit),
    ]
    eccentricity = instrument.eccentricity
    if eccentricity is not None:
        built_up = [
            float(c) * float(r.nominal) for r, c in effects.readings.items() if r.weights > 1
        ]
        # cg-18, 7.1.1.4 (from memory): relative to the load on the pan.
        share = float(eccentricity.difference) / (2 * float(eccentricity.load) * ROOT_3)
        sensitivity = root_sum(built_up)
        if sensitivity:
            rows.append(BudgetRow("built-up loads", "rectangular", share, "1", sensitivity))
    return rows


def error_rows(
    effects: Effects, circumstances: Circumstances, correlation: str, *, adjusted: bool
) -> list[BudgetRow]:
    """The whole budget of an error of indication, or of a sum of such errors."""
    return [
        *budget_rows(effects, circumstances, correlation, "g"),
        *buoyancy_rows(effects, circumstances, adjusted=adjusted),
    ]


def digitisation(
    what: str, instrument: Instrument, sensitivities: Sequence[Real]
) -> Iterable[BudgetRow]:
    """d/√12 for each reading (JCGM 100:2008, F.2.2.1), in one row."""
    sensitivity = root_sum(sensitivities)
    if sensitivity:
        u = float(instrument.scale_interval) / ROOT_12
        yield BudgetRow(f"digitisation of {what}", "rectangular", u, "g", sensitivity)


def repeatability(instrument: Instrument, sensitivities: Sequence[Real]) -> Iterable[BudgetRow]:
    """s of a net indication, estimated once and so entering once, with ν = n - 1."""
    sensitivity = root_sum(sensitivities)
    if instrument.repeatability and sensitivity:
        n = instrument.repeatability_observations
        yield BudgetRow(
            "repeatability",
            "normal",
            float(instrument.repeatability),
            "g",
            sensitivity,
            inf if n is None else n - 1,
        )


def buoyancy_rows(
    effects: Effects, circumstances: Circumstances, *, adjusted: bool
) -> list[BudgetRow]:
    """Buoyancy of the weights (EURAMET cg-18, 7.1.2.2, from memory); the value is not corrected.

    `adjusted`: the balance was adjusted in this sitting, so that its own air density is today's.
    """
    air_share = circumstances.environment.air_density_share()

    def of(weight: ReferenceWeight) -> float:
        nominal = float(weight.nominal)
        if weight.class_limit is not None:
            half_width = float(weight.class_limit) / 4
        else:
            density = float(weight.density or ASSUMED_WEIGHT_DENSITY)
            half_width = nominal * unclassed_half_width(density, air_share)
        if not adjusted:
            half_width += nominal * air_share * REFERENCE_AIR_DENSITY / REFERENCE_WEIGHT_DENSITY
        return half_width / ROOT_3

    rows = []
    for names in _by_sign(effects.weights):
        inputs = [(effects.weights[n], of(circumstances.weights[n])) for n in names]
        rows.append(_group(f"buoyancy of {', '.join(names)}", "rectangular", inputs, "g"))
    return rows


def root_sum(sensitivities: Iterable[Real]) -> float:
    """√(Σc²): what one uncertainty weighs that several independent readings share."""
    values = [c for c in sensitivities if c]
    return float(values[0]) if len(values) == 1 else sqrt(fsum(float(c) ** 2 for c in values))


def weights_allowance(effects: Effects, circumstances: Circumstances) -> Fraction:
    """Largest error that the weights themselves may bring in: Σ|c|·allowance."""
    return sum(
        (abs(c) * circumstances.weights[name].allowance for name, c in effects.weights.items()),
        Fraction(0),
    )


def _weights(
    sensitivities: Mapping[str, Fraction],
    circumstances: Circumstances,
    correlation: str,
    unit: Unit,
) -> Iterable[BudgetRow]:
    acting = tuple(name for name, c in sensitivities.items() if c)
    groups: list[tuple[str, ...]]
    if correlation == "independent":
        groups = [(name,) for name in acting]
    elif correlation == "worst":
        groups = [acting] if acting else []
    else:
        groups = _by_sign(sensitivities)
    for names in groups:
        kinds = {circumstances.weights[name].distribution for name in names}
        distribution = kinds.pop() if len(kinds) == 1 else "mixed"
        inputs = [(sensitivities[n], circumstances.weights[n].standard_uncertainty) for n in names]
        yield _group(f"reference weights {', '.join(names)}", distribution, inputs, unit)


def _by_sign(sensitivities: Mapping[str, Fraction]) -> list[tuple[str, ...]]:
    groups = (
        tuple(name for name, c in sensitivities.items() if c > 0),
        tuple(name for name, c in sensitivities.items() if c < 0),
    )
    return [group for group in groups if group]


def _group(
    source: str,
    distribution: Literal["normal", "rectangular", "mixed"],
    inputs: Sequence[tuple[Fraction, float]],
    unit: Unit,
) -> BudgetRow:
    """Fully correlated inputs (sensitivity, u) as one row: |c|·u add linearly."""
    factors = {c for c, _ in inputs}
    if len(factors) == 1:
        return BudgetRow(source, distribution, sum(u for _, u in inputs), "g", float(factors.pop()))
    return BudgetRow(source, distribution, sum(abs(float(c)) * u for c, u in inputs), unit, 1.0)
