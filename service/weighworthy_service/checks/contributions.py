"""How the inputs of a check act on one criterion, and the budget that follows.

Every reading, every zero and every weight is one input, however often it is used: its sensitivities
add up first, so that what is common to several readings can cancel.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import fsum, inf, lcm, sqrt
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
from weighworthy_service.metrology.limits import CriterionUnit
from weighworthy_service.metrology.weights import ReferenceWeight

ROOT_3 = sqrt(3)
ROOT_12 = sqrt(12)


@dataclass(frozen=True, slots=True)
class Reading:
    """A loaded reading as an input: its own key, the nominal mass on the pan, how many weights."""

    key: str
    nominal: Decimal
    weights: int

    def __hash__(self) -> int:
        return hash(self.key)


@dataclass(frozen=True, slots=True)
class Effects:
    """Sensitivities of a criterion to loaded readings, zeros and weights, all of them over `per`.

    In whole numbers, as inputs must cancel exactly.
    """

    readings: Mapping[Reading, int] = field(default_factory=dict)
    zeros: Mapping[str, int] = field(default_factory=dict)
    weights: Mapping[str, int] = field(default_factory=dict)
    per: int = 1


def error_effects(reading: Reading, zero: str, load: Sequence[str]) -> Effects:
    """Effects on an error E = (I - Z) - Σm."""
    return Effects({reading: 1}, {zero: -1}, dict.fromkeys(load, -1))


def combined(parts: Iterable[tuple[int | Fraction, Effects]], over: int = 1) -> Effects:
    """Effects on a weighted sum, the weights being over one denominator more."""
    parts = list(parts)
    per = lcm(*(factor.denominator * part.per for factor, part in parts))
    readings: dict[Reading, int] = {}
    zeros: dict[str, int] = {}
    weights: dict[str, int] = {}
    for factor, part in parts:
        whole = factor.numerator * (per // (factor.denominator * part.per))
        for reading, c in part.readings.items():
            readings[reading] = readings.get(reading, 0) + whole * c
        for zero, c in part.zeros.items():
            zeros[zero] = zeros.get(zero, 0) + whole * c
        for name, w in part.weights.items():
            weights[name] = weights.get(name, 0) + whole * w
    return Effects(readings, zeros, weights, per * over)


def budget_rows(
    effects: Effects,
    circumstances: Circumstances,
    correlation: str,
    unit: CriterionUnit,
    sources: "Sources | None" = None,
) -> list[BudgetRow]:
    """Rows of digitisation, repeatability, weights and built-up loads; buoyancy comes apart."""
    per, sources = effects.per, sources or Sources(circumstances.instrument)
    loaded = [c / per for c in effects.readings.values()]
    of_loads = root_sum(loaded)
    of_zeros = root_sum([c / per for c in effects.zeros.values()])
    rows = []
    if of_loads:
        rows.append(sources.loads.acting(of_loads))
    if of_zeros:
        rows.append(sources.zeros.acting(of_zeros))
    if sources.scatter is not None and of_loads:
        rows.append(sources.scatter.acting(of_loads))
    rows += weight_rows(effects, circumstances, correlation, unit)
    if sources.off_centre is not None:
        each = zip(loaded, effects.readings, strict=True)
        built_up = root_sum(
            [c * float(reading.nominal) for c, reading in each if reading.weights > 1]
        )
        if built_up:
            rows.append(sources.off_centre.acting(built_up))
    return rows


def error_rows(
    effects: Effects,
    circumstances: Circumstances,
    correlation: str,
    *,
    adjusted: bool,
    sources: "Sources | None" = None,
) -> list[BudgetRow]:
    """The whole budget of an error of indication, or of a sum of such errors."""
    return [
        *budget_rows(effects, circumstances, correlation, "g", sources),
        *buoyancy_rows(effects, circumstances, adjusted=adjusted),
    ]


class Sources:
    """What a balance brings into every budget, as inputs that act with a sensitivity of one.

    `scatter` and `off_centre` (of built-up loads, per g of them) are None where nothing is stated.
    """

    def __init__(self, instrument: Instrument) -> None:
        (self.loads,) = digitisation("loaded readings", instrument, [1])
        (self.zeros,) = digitisation("zero readings", instrument, [1])
        self.scatter = next(iter(repeatability(instrument, [1])), None)
        self.off_centre: BudgetRow | None = None
        if (tried := instrument.eccentricity) is not None:
            # cg-18, 7.1.1.4 (from memory): relative to the load on the pan.
            share = float(tried.difference) / (2 * float(tried.load) * ROOT_3)
            self.off_centre = BudgetRow("built-up loads", "rectangular", share, "1", 1, varies=True)


def digitisation(
    what: str, instrument: Instrument, sensitivities: Sequence[float]
) -> Iterable[BudgetRow]:
    """d/√12 for each reading (JCGM 100:2008, F.2.2.1), in one row."""
    sensitivity = root_sum(sensitivities)
    if sensitivity:
        u = float(instrument.scale_interval) / ROOT_12
        source = f"digitisation of {what}"
        yield BudgetRow(source, "rectangular", u, "g", sensitivity, varies=True)


def repeatability(instrument: Instrument, sensitivities: Sequence[float]) -> Iterable[BudgetRow]:
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
            varies=True,
        )


def hot_zero(instrument: Instrument) -> Iterable[BudgetRow]:
    """What heat leaves unknown of the zero of a final reading: a bound, and a known correction.

    The correction is taken off the reading and so acts against it.
    """
    if instrument.hot_zero_drift:
        u = float(instrument.hot_zero_drift) / ROOT_3
        yield BudgetRow("hot zero drift", "rectangular", u, "g", 1.0, varies=True)
    known = instrument.hot_zero_correction
    if known is not None and known.standard_uncertainty:
        u = float(known.standard_uncertainty)
        yield BudgetRow("hot zero correction", "normal", u, "g", -1.0)


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
        source = f"buoyancy of {', '.join(names)}"
        rows.append(_group(source, "rectangular", inputs, effects.per, "g"))
    return rows


def root_sum(sensitivities: Iterable[float]) -> float:
    """√(Σc²): what one uncertainty weighs that several independent readings share."""
    values = [c for c in sensitivities if c]
    return float(values[0]) if len(values) == 1 else sqrt(fsum([c**2 for c in values]))


def weights_allowance(effects: Effects, circumstances: Circumstances) -> Fraction:
    """Largest error that the weights themselves may bring in: Σ|c|·allowance."""
    each = [(c, circumstances.weights[name].allowance) for name, c in effects.weights.items()]
    per = lcm(*(allowance.denominator for _, allowance in each))
    total = 0
    for c, allowance in each:
        total += abs(c) * (allowance.numerator * (per // allowance.denominator))
    return Fraction(total, per * effects.per)


def weight_rows(
    effects: Effects, circumstances: Circumstances, correlation: str, unit: CriterionUnit
) -> Iterable[BudgetRow]:
    """The reference weights, in groups that count as fully correlated."""
    acting = tuple(name for name, c in effects.weights.items() if c)
    groups: list[tuple[str, ...]]
    if correlation == "independent":
        groups = [(name,) for name in acting]
    elif correlation == "worst":
        groups = [acting] if acting else []
    else:
        groups = _by_sign(effects.weights)
    for names in groups:
        weights = [circumstances.weights[name] for name in names]
        kinds = {weight.distribution for weight in weights}
        each = zip(names, weights, strict=True)
        inputs = [(effects.weights[name], w.standard_uncertainty) for name, w in each]
        yield _group(
            f"reference weights {', '.join(names)}",
            kinds.pop() if len(kinds) == 1 else "mixed",
            inputs,
            effects.per,
            unit,
        )


def _by_sign(sensitivities: Mapping[str, int]) -> list[tuple[str, ...]]:
    groups = (
        tuple([name for name, c in sensitivities.items() if c > 0]),
        tuple([name for name, c in sensitivities.items() if c < 0]),
    )
    return [group for group in groups if group]


def _group(
    source: str,
    distribution: Literal["normal", "rectangular", "mixed"],
    inputs: Sequence[tuple[int, float]],
    per: int,
    unit: CriterionUnit,
) -> BudgetRow:
    """Fully correlated inputs (sensitivity times `per`, u) as one row: |c|·u add linearly."""
    first = inputs[0][0]
    if all(c == first for c, _ in inputs):
        total = sum([u for _, u in inputs])
        return BudgetRow(source, distribution, total, "g", float(first / per))
    total = sum([abs(float(c / per)) * u for c, u in inputs])
    return BudgetRow(source, distribution, total, unit, 1.0)
