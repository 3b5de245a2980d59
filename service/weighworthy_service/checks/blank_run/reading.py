"""A blank run with what follows from its readings exactly."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.blank_run.check import BlankRunCheck, SeriesReading
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.spread import Slope, slope

HOUR: Final = 3600


class Trend(NamedTuple):
    """Slope of a series by least squares, in g/h, its standard uncertainty, degrees of freedom.

    `degrees`; None: of two readings. `span`: from the first reading to the last, in h.
    """

    slope: Fraction
    uncertainty: float
    degrees: int | None
    span: Fraction


class RunRead:
    """One run. Change of the indication in g; its effect on a moisture value in %."""

    def __init__(self, check: BlankRunCheck, index: int) -> None:
        run = check.runs[index]
        self.index, self.run = index, run
        self.change = EXACT.subtract(run.final, run.initial)
        self.effect = moisture_effect(self.change, check.sample_mass)
        self.rate: Fraction | None = None
        if run.duration is not None:
            self.rate = Fraction(self.change) / Fraction(run.duration) * HOUR
        self._step = check.circumstances.instrument.scale_interval

    @property
    def trend(self) -> Trend | None:
        """Of the whole series."""
        return trend(self.run.series or (), self._step)

    @property
    def trend_at_end(self) -> Trend | None:
        """Of the later half of the time of the series; None: fewer than five readings in it."""
        late = later_half(self.run.series or ())
        return trend(late, self._step) if len(late) >= _ENOUGH else None

    def as_result(self, uncertainty: float) -> dict[str, Any]:
        """What `results` say of the run; `uncertainty`: the standard one of its change, in g."""
        lasted, found = self.run.duration, self.trend
        return {
            "index": self.index,
            "change": self.change,
            "moisture_effect": self.effect,
            "drift_rate": self.rate,
            "drift_rate_uncertainty": lasted and uncertainty / (float(lasted) / HOUR),
            "slope": found and found.slope,
            "slope_uncertainty": found and found.uncertainty,
            "slope_degrees_of_freedom": found and found.degrees,
        }


# Common practice, no source: with fewer readings a slope hardly ever stands out.
_ENOUGH: Final = 5


def moisture_effect(change: Decimal | Fraction, sample_mass: Decimal) -> Fraction:
    """What a change of the indication does to a moisture value of such a sample, in %.

    L = 100·(I₀ - I₁)/I₀ with I₁ off by the change: a fall reads as moisture.
    """
    return -100 * Fraction(change) / Fraction(sample_mass)


def later_half(series: Sequence[SeriesReading]) -> Sequence[SeriesReading]:
    """The readings from the middle of its time on."""
    if not series:
        return series
    middle = EXACT.add(series[0].at, series[-1].at)
    return [reading for reading in series if EXACT.add(reading.at, reading.at) >= middle]


def trend(series: Sequence[SeriesReading], step: Decimal) -> Trend | None:
    """By JCGM 100:2008, H.3, readings taken as independent; None: fewer than two of them.

    The scatter about the line counts for no less than the rounding of readings to their step.
    """
    if len(series) < 2:
        return None
    at = [Fraction(reading.at) / HOUR for reading in series]
    found = slope(at, [reading.indication for reading in series])
    return Trend(
        found.value,
        sqrt(_scatter(found, step) / found.extent),
        None if found.residual is None else len(series) - 2,
        at[-1] - at[0],
    )


def _scatter(found: Slope, step: Decimal) -> Fraction:
    return max(found.residual or Fraction(0), Fraction(step) ** 2 / 12)
