"""The curve of a linearity run: error of each point, mean error at each load, departures."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial
from types import MappingProxyType
from typing import Final, Literal

from weighworthy_service.checks.circumstances import exact_sum
from weighworthy_service.checks.contributions import Effects, Reading, combined, error_effects
from weighworthy_service.checks.linearity.check import LinearityCheck
from weighworthy_service.metrology import line
from weighworthy_service.metrology.quantity import EXACT

Line = Callable[[Sequence[Fraction], Sequence[Fraction]], line.Departures]

LINES: Final[Mapping[str, Line]] = MappingProxyType(
    {
        "terminal": line.terminal,
        "zero_based": line.zero_based,
        "independent": line.independent,
        "least_squares": line.least_squares,
    }
)

# Below this a straight line leaves nothing over to depart from it.
FEWEST_LOADS: Final = 3


@dataclass(frozen=True, slots=True)
class PointRead:
    """A point with its exact error in g, and the zero that it was read against."""

    index: int
    load: Decimal
    mass: Decimal
    zero: Decimal
    indication: Decimal
    error: Decimal
    direction: Literal["up", "down"] | None
    effects: Effects


@dataclass(frozen=True, slots=True)
class MeanError:
    """Mean of the errors of several points, at the mean of their masses; g."""

    load: Decimal
    mass: Fraction
    error: Fraction
    effects: Effects
    points: int


# Means with their whole weights, and what these are over.
Parts = tuple[Sequence[tuple[int, MeanError]], int]


@dataclass(frozen=True, slots=True)
class Departure:
    """What the curve departs from one of its lines at one load (zero load included), in g.

    `size` is the magnitude of the value on a scale that all departures from one line share;
    `parts` gives the means that the value is a weighted sum of.
    """

    load: Decimal
    value: Fraction
    size: int | Fraction
    parts: Callable[[], Parts]

    def effects(self) -> Effects:
        """Sensitivities to readings, zeros and weights: worth the work only at places judged."""
        means, per = self.parts()
        return combined([(c, mean.effects) for c, mean in means], per)


def read_points(check: LinearityCheck) -> list[PointRead]:
    """Errors E = (I - Z) - Σm; a zero read once and used on is one input."""
    points = []
    zero, zero_key = Decimal(0), ""
    for i, p in enumerate(check.points):
        if p.zero is not None:
            zero, zero_key = p.zero, f"zero {i}"
        load = check.circumstances.nominal(p.load)
        mass = check.circumstances.mass(p.load)
        error = EXACT.subtract(EXACT.subtract(p.indication, zero), mass)
        effects = error_effects(Reading(f"point {i}", load, len(p.load)), zero_key, p.load)
        points.append(PointRead(i, load, mass, zero, p.indication, error, p.direction, effects))
    return points


def mean_of(points: Sequence[PointRead]) -> MeanError:
    """Mean of points of one nominal load."""
    n = len(points)
    if n == 1:
        p = points[0]
        return MeanError(p.load, Fraction(p.mass), Fraction(p.error), p.effects, 1)
    return MeanError(
        load=points[0].load,
        mass=Fraction(exact_sum([p.mass for p in points])) / n,
        error=Fraction(exact_sum([p.error for p in points])) / n,
        effects=combined([(Fraction(1, n), p.effects) for p in points]),
        points=n,
    )


def mean_errors(points: Sequence[PointRead]) -> list[MeanError]:
    """The curve without its zero: one mean per nominal load, by ascending mass."""
    return sorted((mean_of(group) for group in _by_load(points).values()), key=lambda m: m.mass)


def departures(curve: Sequence[MeanError], of: Line) -> list[Departure] | None:
    """Departures from one line, by ascending load; None with too few loads to have any.

    Places that the line passes through by its definition are left out.
    """
    loads = [m.mass for m in curve]
    if len(set(loads)) < max(FEWEST_LOADS, len(loads)):
        return None
    found = of(loads, [m.error for m in curve])
    places = [Decimal(0), *(m.load for m in curve)]
    return [
        Departure(load, found.values[i], found.sizes[i], partial(_parts, found, i, curve))
        for i, load in enumerate(places)
        if i not in found.fixed
    ]


def _parts(found: line.Departures, place: int, curve: Sequence[MeanError]) -> Parts:
    factors, per = found.factors(place)
    return [(c, mean) for c, mean in zip(factors, curve, strict=True) if c], per


def hysteresis(points: Sequence[PointRead]) -> list[Departure]:
    """Mean down minus mean up at nominal loads that occur both ways, the highest left out."""
    highest = max(p.load for p in points)
    found = []
    for load, group in sorted(_by_load(points).items()):
        up = [p for p in group if p.direction == "up"]
        down = [p for p in group if p.direction == "down"]
        if up and down and load != highest:
            rising, falling = mean_of(up), mean_of(down)
            value = falling.error - rising.error
            found.append(Departure(load, value, abs(value), partial(_turn, falling, rising)))
    return found


def _turn(falling: MeanError, rising: MeanError) -> Parts:
    return ((1, falling), (-1, rising)), 1


def largest(places: Sequence[Departure]) -> Departure:
    """The place of largest magnitude; the smallest load of several."""
    return max(places, key=lambda place: place.size)


def _by_load(points: Sequence[PointRead]) -> dict[Decimal, list[PointRead]]:
    groups: dict[Decimal, list[PointRead]] = defaultdict(list)
    for p in points:
        groups[p.load].append(p)
    return groups
