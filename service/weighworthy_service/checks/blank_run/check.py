"""What a blank run consists of: runs of a pan that loses nothing, and the sample it stands for."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any


@dataclass(frozen=True, slots=True)
class SeriesReading:
    """A reading on the way: time since the start in s, indication in g."""

    at: Decimal
    indication: Decimal


@dataclass(frozen=True, slots=True)
class PanRun:
    """Indications at start and end in g, duration in s, temperature of the chamber in °C."""

    initial: Decimal
    final: Decimal
    duration: Decimal | None = None
    chamber_temperature: Decimal | None = None
    stable: bool | None = None
    series: tuple[SeriesReading, ...] | None = None


@dataclass(frozen=True, slots=True)
class BlankRunCheck:
    """Blank runs. `sample_mass`: of the usual sample, in g; `usual_duration`: of a drying, in s."""

    circumstances: Circumstances
    runs: tuple[PanRun, ...]
    sample_mass: Decimal
    pan: Literal["empty", "inert"] | None = None
    on_pan: str | None = None
    usual_duration: Decimal | None = None

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(())
        capacity = self.circumstances.instrument.capacity
        if capacity is not None and self.sample_mass > capacity:
            message = "is above the capacity: probably a wrong unit"
            yield Flaw(("sample_mass",), "out-of-range", message)
        if self.pan == "empty" and self.on_pan is not None:
            message = "nothing lies on an empty pan; say inert for one with something on it"
            yield Flaw(("on_pan",), "pan-not-empty", message)
        for i, run in enumerate(self.runs):
            for k, (before, after) in enumerate(pairwise(run.series or ())):
                if after.at <= before.at:
                    place = ("runs", i, "series", k + 1, "at")
                    yield Flaw(place, "time-order", "is not later than the reading before it")
