"""What the check consists of."""

from dataclasses import dataclass
from decimal import Decimal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import refuse_if_any


@dataclass(frozen=True, slots=True)
class Reading:
    """Time since the load was put on in s, indication in g."""

    at: Decimal
    indication: Decimal
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class CreepCheck:
    """One load, read at least twice."""

    circumstances: Circumstances
    load: tuple[str, ...]
    readings: tuple[Reading, ...]

    def __post_init__(self) -> None:
        refuse_if_any(self.circumstances.flaws([(("load",), self.load)]))
