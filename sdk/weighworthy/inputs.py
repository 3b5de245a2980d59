"""The shapes of a request, for editors and type checkers. At run time they are plain dicts.

A value with a unit is text such as ``"12.0030 g"``; `weighworthy.q` writes it.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Literal, Required, TypeAlias, TypedDict

Quantity: TypeAlias = str
Day: TypeAlias = str | date
Instant: TypeAlias = str | datetime
Profile: TypeAlias = str | Mapping[str, Any]
Occasion: TypeAlias = Literal[
    "routine",
    "set-up",
    "moved",
    "power-off",
    "suspected",
    "after-adjustment",
    "after-service",
    "new-weights",
    "release",
    "other",
]


class Weight(TypedDict, total=False):
    """A reference weight; masses and density with their units, dates as ``date`` or text."""

    nominal: Required[Quantity]
    weight_class: str | None
    conventional_mass: Quantity | None
    expanded_uncertainty: Quantity | None
    coverage_factor: str | None
    density: Quantity | None
    drift: Quantity | None
    certificate: str | None
    calibrated_on: Day | None
    due_on: Day | None


class Eccentricity(TypedDict):
    """Largest difference between off-centre and centre indications at one load."""

    difference: Quantity
    load: Quantity


class HotZeroCorrection(TypedDict):
    """Known shift of the zero by heating, with the standard uncertainty of that knowledge."""

    value: Quantity
    standard_uncertainty: Quantity


class Instrument(TypedDict, total=False):
    """The balance inside the moisture analyser."""

    id: str | None
    model: str | None
    site: str | None
    capacity: Quantity | None
    scale_interval: Required[Quantity]
    verification_interval: Quantity | None
    loss_interval: Quantity | None
    loss_rounding: Literal["nearest", "down"] | None
    repeatability: Quantity | None
    repeatability_observations: int | None
    eccentricity: Eccentricity | None
    hot_zero_drift: Quantity | None
    hot_zero_correction: HotZeroCorrection | None


class Environment(TypedDict, total=False):
    """Air at the balance."""

    temperature: Quantity | None
    relative_humidity: Quantity | None
    pressure: Quantity | None


class Round(TypedDict, total=False):
    """One round of a span check; an adjustment needs no readings."""

    stage: Literal["as-found", "adjustment", "as-left"] | None
    load: Sequence[str] | None
    zero: Quantity | None
    indication: Quantity | None
    zero_after: Quantity | None
    stable: bool | None


class Point(TypedDict, total=False):
    """One reading of a linearity check."""

    load: Required[Sequence[str]]
    zero: Quantity | None
    indication: Required[Quantity]
    direction: Literal["up", "down"] | None
    stable: bool | None


class Placing(TypedDict, total=False):
    """The load of a repeatability check on the pan once."""

    zero: Quantity | None
    indication: Required[Quantity]
    stable: bool | None


class PlacedAt(TypedDict, total=False):
    """The load of an eccentricity check at one place of the pan, at least once ``"centre"``."""

    position: Required[str]
    zero: Quantity | None
    indication: Required[Quantity]
    stable: bool | None


class Loading(TypedDict, total=False):
    """What lies on the pan at the start or the end of a simulated loss."""

    load: Required[Sequence[str]]
    indication: Quantity | None
    chamber_temperature: Quantity | None
    stable: bool | None


class SeriesPoint(TypedDict):
    """An indication during the run, for the plot; not judged."""

    at: Quantity
    indication: Quantity


class SeriesReading(TypedDict):
    """An indication on the way of a blank run, from which the rate of drift follows."""

    at: Quantity
    indication: Quantity


class PanRun(TypedDict, total=False):
    """One blank run: an empty or inert pan through a full heating run."""

    initial: Required[Quantity]
    final: Required[Quantity]
    duration: Quantity | None
    chamber_temperature: Quantity | None
    stable: bool | None
    series: Sequence[SeriesReading] | None


class Correction(TypedDict):
    """What a certificate adds to a reading of a probe."""

    at: Quantity
    correction: Quantity


class Probe(TypedDict, total=False):
    """The reference thermometer of a heater check; temperatures in Cel, differences in K."""

    id: str | None
    certificate: str | None
    interval: Required[Quantity]
    corrections: Sequence[Correction] | None
    expanded_uncertainty: Required[Quantity]
    coverage_factor: str | None
    drift: Quantity | None
    immersion_allowance: Quantity | None
    calibrated_on: Day | None
    due_on: Day | None


class TimedTemperature(TypedDict):
    """A reading of the probe on the way to a set point, and the time since that was set."""

    at: Quantity
    temperature: Quantity


class SetPoint(TypedDict, total=False):
    """A set temperature with what the probe read once it had settled."""

    set: Required[Quantity]
    readings: Required[Sequence[Quantity]]
    displayed: Quantity | None
    settled_after: Quantity | None
    series: Sequence[TimedTemperature] | None
    stable: bool | None


class Material(TypedDict, total=False):
    """A substance of known loss, with one of the two uncertainties of that."""

    name: str | None
    lot: str | None
    stated_loss: Required[Quantity]
    expanded_uncertainty: Quantity | None
    coverage_factor: str | None
    standard_uncertainty: Quantity | None
    certificate: str | None
    opened_on: Day | None
    due_on: Day | None


class MaterialRun(TypedDict, total=False):
    """A drying of a reference material: net masses, or the loss displayed."""

    initial_mass: Quantity | None
    final_mass: Quantity | None
    displayed_loss: Quantity | None
    stable: bool | None


class EarlierSpread(TypedDict):
    """Standard deviation of single losses in earlier runs, and how many it rests on."""

    standard_deviation: Quantity
    observations: int
