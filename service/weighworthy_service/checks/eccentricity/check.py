"""What an eccentricity check consists of: one load at the centre of the pan and off it."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.checks.placings import load_flaws

# As people write the place that all others are held against.
_CENTRE: Final = ("centre", "center")


@dataclass(frozen=True, slots=True)
class PlacedAt:
    """The load at one place of the pan, in g; without `zero` the last one before it counts."""

    position: str
    indication: Decimal
    zero: Decimal | None = None
    stable: bool | None = None

    @property
    def central(self) -> bool:
        """Whether it lies at the centre."""
        return self.position.casefold() in _CENTRE


@dataclass(frozen=True, slots=True)
class EccentricityCheck:
    """Placings of one load at the centre and at other places, in the order of their doing."""

    circumstances: Circumstances
    load: tuple[str, ...]
    placings: tuple[PlacedAt, ...]

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from load_flaws(self.circumstances, self.load)
        central = [placing.central for placing in self.placings]
        if not any(central):
            message = 'one placing at least is at the position "centre", which others differ from'
            yield Flaw(("placings",), "centre-missing", message)
        if all(central):
            message = "one placing at least is off the centre"
            yield Flaw(("placings",), "nothing-off-centre", message)
