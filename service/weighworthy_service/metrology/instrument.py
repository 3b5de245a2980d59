"""The balance as the request describes it. Masses in g, losses in %."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal


@dataclass(frozen=True, slots=True)
class Eccentricity:
    """Largest difference to the centre (g) when `load` (g) is placed off it."""

    difference: Decimal
    load: Decimal


@dataclass(frozen=True, slots=True)
class HotZeroCorrection:
    """Known shift of the zero through a run (g), from blank runs, with its standard uncertainty."""

    value: Decimal
    standard_uncertainty: Decimal


@dataclass(frozen=True, slots=True)
class Instrument:
    """What the evaluation may know of the balance; only the scale interval d is indispensable."""

    scale_interval: Decimal
    id: str | None = None
    model: str | None = None
    site: str | None = None
    capacity: Decimal | None = None
    verification_interval: Decimal | None = None
    loss_interval: Decimal | None = None
    loss_rounding: Literal["nearest", "down"] = "nearest"
    repeatability: Decimal | None = None
    repeatability_observations: int | None = None
    eccentricity: Eccentricity | None = None
    hot_zero_drift: Decimal | None = None
    hot_zero_correction: HotZeroCorrection | None = None
