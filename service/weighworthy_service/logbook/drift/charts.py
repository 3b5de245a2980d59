"""Control charts of single values: individuals and moving range, EWMA, CUSUM.

Formulas as in ISO 7870 and the NIST/SEMATECH e-Handbook, 6.3.2. A value on a limit is inside.

On a coarse display the centre lies between two of its steps, and most values on the same side of
it for no other reason. So a value whose step holds the centre is on neither side.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from math import fsum, pi, sqrt
from typing import Final, NamedTuple

# Of the range of two independent normal values: its mean and standard deviation in units of sigma.
D2: Final = 2 / sqrt(pi)
D3: Final = sqrt(2 - D2**2)
FEWEST: Final = 12
# Up to this share of equal pairs of values, a display hides nothing that matters.
MOST_EQUAL_PAIRS: Final = 0.05
# Below this share of the values themselves, a spread is what floats leave of equal values.
_NO_SPREAD: Final = 1e-12


class Baseline(NamedTuple):
    """What a chart holds later values against, from the first `points` values of a series.

    `sigma` is the mean moving range over d2, which a slow trend among them hardly widens. `step`:
    that of the display, in the unit of the values, where it shows in them; otherwise 0.
    """

    points: int
    centre: float
    sigma: float
    mean_moving_range: float
    step: float = 0.0

    @property
    def lower(self) -> float:
        """Lower control limit of single values, three sigma below the centre."""
        return self.centre - 3 * self.sigma

    @property
    def upper(self) -> float:
        """Upper control limit of single values."""
        return self.centre + 3 * self.sigma

    @property
    def upper_moving_range(self) -> float:
        """Control limit of moving ranges (D4 times their mean); the lower one is zero."""
        return self.mean_moving_range * (1 + 3 * D3 / D2)

    @property
    def neither_side(self) -> float:
        """How far from the centre, in units of sigma, a value may be on neither side of it."""
        return self.step / 2 / self.sigma

    def standardised(self, values: Sequence[float]) -> list[float]:
        """In units of sigma about the centre."""
        return [(value - self.centre) / self.sigma for value in values]


class Averages(NamedTuple):
    """An exponentially weighted moving average: its values, its limits, and where it is outside."""

    values: tuple[float, ...]
    lower: float
    upper: float
    outside: tuple[int, ...]


class Sums(NamedTuple):
    """A tabular CUSUM in units of sigma: how far values ran to either side, and where too far."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    limit: float
    outside_high: tuple[int, ...]
    outside_low: tuple[int, ...]


def baseline_of(values: Sequence[float], first: int) -> Baseline | None:
    """From the first values, or all where there are fewer; None: fewer than 12, or all equal."""
    taken = values[:first]
    if len(taken) < FEWEST:
        return None
    baseline = estimated(taken)
    spread = _NO_SPREAD * max(abs(value) for value in taken)
    return baseline if baseline.mean_moving_range > spread else None


def estimated(values: Sequence[float]) -> Baseline:
    """From all of at least two values, however few."""
    ranges = moving_ranges(values)
    mean_range = fsum(ranges) / len(ranges)
    centre = fsum(values) / len(values)
    return Baseline(len(values), centre, mean_range / D2, mean_range, display_step(values))


def display_step(values: Sequence[float]) -> float:
    """The smallest distance between different values, if it can be no chance; otherwise 0.

    Values that are not rounded are hardly ever equal.
    """
    if equal_pairs(values) <= MOST_EQUAL_PAIRS:
        return 0.0
    noise = _NO_SPREAD * max(abs(value) for value in values)
    distances = (later - earlier for earlier, later in pairwise(sorted(values)))
    return min((distance for distance in distances if distance > noise), default=0.0)


def equal_pairs(values: Sequence[float]) -> float:
    """The share of all pairs of at least two values that are equal."""
    pairs = sum(times * (times - 1) for times in Counter(values).values())
    return pairs / (len(values) * (len(values) - 1))


def moving_ranges(values: Sequence[float]) -> list[float]:
    """Of each value and the one before: one fewer than values."""
    return [abs(later - earlier) for earlier, later in pairwise(values)]


def ewma(
    values: Sequence[float],
    centre: float,
    sigma: float,
    weight: float = 0.2,
    width: float = 2.962,
) -> Averages:
    """Begins at the centre. The limits are the asymptotic ones, the same for every value.

    With the defaults an average run of 500 values ends in a false alarm.
    """
    found, average = [], centre
    for value in values:
        average = weight * value + (1 - weight) * average
        found.append(average)
    half = width * sigma * sqrt(weight / (2 - weight))
    lower, upper = centre - half, centre + half
    outside = tuple(i for i, average in enumerate(found) if not lower <= average <= upper)
    return Averages(tuple(found), lower, upper, outside)


def cusum(
    values: Sequence[float],
    centre: float,
    sigma: float,
    allowance: float = 0.5,
    limit: float = 5.0,
) -> Sums:
    """Begins at zero and goes on after an alarm. `allowance` and `limit` in units of sigma.

    With the defaults an average run of 465 values ends in a false alarm.
    """
    high, low = [0.0], [0.0]
    for value in values:
        z = (value - centre) / sigma
        high.append(max(0.0, high[-1] + z - allowance))
        low.append(max(0.0, low[-1] - z - allowance))
    return Sums(
        tuple(high[1:]),
        tuple(low[1:]),
        limit,
        tuple(i for i, total in enumerate(high[1:]) if total > limit),
        tuple(i for i, total in enumerate(low[1:]) if total > limit),
    )
