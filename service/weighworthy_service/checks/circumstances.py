"""What every kind of check states besides its readings: balance, weights, air, time, person."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.weights import ReferenceWeight

OCCASIONS: Final = (
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
)


@dataclass(frozen=True, slots=True)
class Circumstances:
    """Common part of a check request. `warm_up` in s; `performed_at` with its offset to UTC."""

    instrument: Instrument
    weights: Mapping[str, ReferenceWeight]
    environment: Environment = field(default_factory=Environment)
    method: str | None = None
    warm_up: Decimal | None = None
    performed_at: datetime | None = None
    performed_by: str | None = None
    occasion: str = "routine"

    def on(self, load: Sequence[str]) -> tuple[ReferenceWeight, ...]:
        """The weights of a load, in its order."""
        return tuple(self.weights[name] for name in load)

    def nominal(self, load: Sequence[str]) -> Decimal:
        """Sum of the nominal values on the pan in g: it chooses the band and scales percentages."""
        return exact_sum(weight.nominal for weight in self.on(load))

    def mass(self, load: Sequence[str]) -> Decimal:
        """Sum of the conventional masses on the pan in g."""
        return exact_sum(weight.mass for weight in self.on(load))

    def flaws(self, loads: Iterable[tuple[tuple[str | int, ...], Sequence[str]]]) -> Iterator[Flaw]:
        """What is wrong with weights and loads; `loads` gives each load with its path."""
        for leaf, code, detail in self.instrument.flaws():
            yield Flaw(("instrument", leaf), code, detail)
        for name, weight in self.weights.items():
            for leaf, code, detail in weight.flaws():
                yield Flaw(("weights", name, leaf), code, detail)
        for path, load in loads:
            for position, name in enumerate(load):
                if name not in self.weights:
                    yield Flaw(
                        (*path, position),
                        "weight-not-declared",
                        f"the weight {name!r} is not declared in weights",
                    )
            for name, times in Counter(load).items():
                if times > 1:
                    yield Flaw(path, "weight-twice", f"the weight {name!r} lies on the pan twice")


def exact_sum(values: Iterable[Decimal]) -> Decimal:
    """Sum without rounding."""
    total = Decimal(0)
    for value in values:
        total = EXACT.add(total, value)
    return total
