"""What a linearity check consists of: points over the range used, up and often down again."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any


@dataclass(frozen=True, slots=True)
class Point:
    """One load with its indication, in g; without `zero` the last one before it counts."""

    load: tuple[str, ...]
    indication: Decimal
    zero: Decimal | None = None
    direction: Literal["up", "down"] | None = None
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class LinearityCheck:
    """A linearity run of any number of cycles."""

    circumstances: Circumstances
    points: tuple[Point, ...]

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(
            (("points", i, "load"), p.load) for i, p in enumerate(self.points)
        )
        if self.points[0].zero is None:
            yield Flaw(
                ("points", 0, "zero"),
                "required",
                "the first point needs its zero; later points may go on with it",
            )
