"""What a heater check consists of: a probe with its certificate, and set points held for a while.

Temperatures in °C, differences of them in K, times in s.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any


@dataclass(frozen=True, slots=True)
class Correction:
    """What the certificate adds to the probe's reading `at` that reading."""

    at: Decimal
    correction: Decimal


@dataclass(frozen=True, slots=True)
class Probe:
    """The reference thermometer as its certificate and its keeper describe it.

    `interval`: step of its display; `drift`: largest change seen between calibrations;
    `immersion_allowance`: half-width of a bound on what heat that flows along it does.
    """

    interval: Decimal
    expanded_uncertainty: Decimal
    id: str | None = None
    certificate: str | None = None
    corrections: tuple[Correction, ...] = ()
    coverage_factor: Decimal | None = None
    drift: Decimal | None = None
    immersion_allowance: Decimal | None = None
    calibrated_on: date | None = None
    due_on: date | None = None


@dataclass(frozen=True, slots=True)
class TimedTemperature:
    """A reading of the probe on the way to a set point: time since it was set."""

    at: Decimal
    temperature: Decimal


@dataclass(frozen=True, slots=True)
class SetPoint:
    """A set temperature, what the probe read once it had settled, what the analyser displayed.

    `settled_after`: time from setting it to settled; `series`: readings from which that follows.
    """

    set: Decimal
    readings: tuple[Decimal, ...]
    displayed: Decimal | None = None
    settled_after: Decimal | None = None
    series: tuple[TimedTemperature, ...] = ()
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class HeaterCheck:
    """A heater check of one or several set points.

    `settled_within`: half-width of the band about the mean of its readings within which a set point
    counts as settled; `time_step`: to which a stated settling time is read; `display_interval`:
    step of the temperature that the analyser displays.
    """

    circumstances: Circumstances
    probe: Probe
    set_points: tuple[SetPoint, ...]
    settled_within: Decimal | None = None
    time_step: Decimal | None = None
    display_interval: Decimal | None = None
    place: str | None = None

    def __post_init__(self) -> None:
        refuse_if_any(self._flaws())

    def _flaws(self) -> Iterator[Flaw]:
        yield from self.circumstances.flaws(())
        yield from _rising([c.at for c in self.probe.corrections], ("probe", "corrections"))
        for i, point in enumerate(self.set_points):
            here = ("set_points", i)
            yield from _rising([t.at for t in point.series], (*here, "series"))
            if point.series and self.settled_within is None:
                yield Flaw(
                    ("settled_within",),
                    "required",
                    "a settling time follows from a series only with the band that it means",
                )
            if point.settled_after is not None and not point.series and self.time_step is None:
                yield Flaw(
                    ("time_step",),
                    "required",
                    "a stated settling time needs the step to which times were read",
                )


def _rising(places: Sequence[Decimal], path: tuple[str | int, ...]) -> Iterator[Flaw]:
    for i, (before, after) in enumerate(pairwise(places), 1):
        if not after > before:
            yield Flaw((*path, i, "at"), "not-rising", "must be above the one before it")
