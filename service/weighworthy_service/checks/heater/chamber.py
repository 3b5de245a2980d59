"""What the readings at one set point say of the chamber: mean, scatter, whether still moving."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cached_property

from weighworthy_service.checks.heater.check import HeaterCheck, SetPoint
from weighworthy_service.checks.heater.probe import Corrected, correction_at
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.spread import mean, root, slope, standard_deviation


@dataclass(frozen=True, slots=True)
class Settling:
    """A settling time in s. `gap`: back to the reading before, if it follows from a series; that is
    `position - 1` there."""

    time: Decimal
    gap: Decimal | None = None
    position: int | None = None


@dataclass(frozen=True, slots=True)
class Drifting:
    """The change from the first reading to the last on a least-squares line, in K, with its u."""

    change: Fraction
    standard_uncertainty: Decimal
    degrees_of_freedom: int


class SetPointRead:
    """A set point with what follows from it exactly."""

    def __init__(self, check: HeaterCheck, index: int) -> None:
        self.index = index
        self.point: SetPoint = check.set_points[index]
        self.band = check.settled_within
        self.count = len(self.point.readings)
        self.mean = mean(self.point.readings)
        self.corrected: Corrected | None = correction_at(check.probe, self.mean)

    @property
    def temperature(self) -> Fraction | None:
        """Mean of the readings with their correction, in °C; None: there is no correction."""
        return None if self.corrected is None else self.mean + self.corrected.correction

    @property
    def error(self) -> Fraction | None:
        """That temperature minus the set one, in K."""
        return None if self.temperature is None else self.temperature - Fraction(self.point.set)

    @property
    def display_error(self) -> Fraction | None:
        """What the analyser displayed minus that temperature, in K."""
        if self.temperature is None or self.point.displayed is None:
            return None
        return Fraction(self.point.displayed) - self.temperature

    @property
    def spread(self) -> Decimal | None:
        """Largest minus smallest reading, in K; of one reading there is none."""
        if self.count < 2:
            return None
        return EXACT.subtract(max(self.point.readings), min(self.point.readings))

    @property
    def scatter(self) -> tuple[Decimal, int] | None:
        """Standard deviation of the readings in K, and how many there are; of one there is none."""
        if self.count < 2:
            return None
        return standard_deviation(self.point.readings), self.count

    @cached_property
    def drifting(self) -> Drifting | None:
        """Least squares over readings at even intervals (JCGM 100:2008, H.3); None below three."""
        n = self.count
        if n < 3:
            return None
        line = slope([Decimal(k) for k in range(n)], self.point.readings)
        assert line.residual is not None  # noqa: S101  of three points or more
        u = root(line.residual * (n - 1) ** 2 / line.extent)
        return Drifting((n - 1) * line.value, u, n - 2)

    def off_band(self, temperature: Decimal) -> bool:
        """Whether a reading lies outside the stated band about the mean."""
        assert self.band is not None  # noqa: S101  only asked where it is stated
        return abs(Fraction(temperature) - self.mean) > self.band

    @cached_property
    def settling(self) -> Settling | None:
        """From the series, else as stated: the first reading from which on all lie in the band.

        None where the series ends outside the band, or begins within it and so shows no settling.
        """
        series = self.point.series
        if not series:
            stated = self.point.settled_after
            return None if stated is None else Settling(stated)
        outside = [j for j, timed in enumerate(series) if self.off_band(timed.temperature)]
        if not outside or outside[-1] == len(series) - 1:
            return None
        first = outside[-1] + 1
        at, before = series[first].at, series[first - 1].at
        return Settling(at, EXACT.subtract(at, before), first)
