"""The balance as the request describes it. Masses in g, losses in %."""

from collections.abc import Iterator
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

    def flaws(self) -> Iterator[tuple[str, str, str]]:
        """(field, code, sentence) of what cannot be true of one balance."""
        d, e, most = self.scale_interval, self.verification_interval, self.capacity
        if e is not None and e < d:
            # OIML R 76-1:2006, 3.4.2 (from memory): d <= e.
            yield "verification_interval", "out-of-range", "is never below the scale interval"
        for name in ("scale_interval", "repeatability"):
            value = getattr(self, name)
            if most is not None and value is not None and value >= most:
                yield name, "out-of-range", "must be below the capacity: probably a wrong unit"
