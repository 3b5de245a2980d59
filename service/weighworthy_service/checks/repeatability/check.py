"""What a repeatability check consists of: one load, put on several times."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.checks.placings import load_flaws


@dataclass(frozen=True, slots=True)
class Placing:
    """The load on the pan once, in g; without `zero` the last one before it counts, if any."""

    indication: Decimal
    zero: Decimal | None = None
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class RepeatabilityCheck:
    """Two or more placings of one load, in the order in which they were done."""

    circumstances: Circumstances
    load: tuple[str, ...]
    placings: tuple[Placing, ...]

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from load_flaws(self.circumstances, self.load)
