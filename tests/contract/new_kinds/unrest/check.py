"""What the check consists of."""

from dataclasses import dataclass
from decimal import Decimal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import refuse_if_any


@dataclass(frozen=True, slots=True)
class Reading:
    """Indication of the empty pan in g."""

    indication: Decimal


@dataclass(frozen=True, slots=True)
class UnrestCheck:
    """Readings of an empty pan."""

    circumstances: Circumstances
    readings: tuple[Reading, ...]

    def __post_init__(self) -> None:
        refuse_if_any(self.circumstances.flaws([]))
