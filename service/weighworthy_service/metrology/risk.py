"""Risks of a wrong decision (JCGM 106:2012, 9), with normal measurement errors.

Specific: of one item of which the value is known. Global: of any item of a population.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import inf, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from weighworthy_service.metrology.limits import Interval

Values = NDArray[np.float64]

# Of a normal distribution, 1e-23 lies beyond ten standard deviations.
_REACH: Final = 10.0
# Gauss-Legendre nodes on (-1, 1) for each panel of an integral, and how many panels at least.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_PANELS: Final = 40


@dataclass(frozen=True, slots=True)
class Population:
    """How the true values of items are distributed: their density, from `low` to `high`."""

    density: Callable[[Values], Values]
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Risks:
    """Global risks, as joint probabilities of all items, not only of those passed or failed.

    `consumer`: the item does not conform and is accepted; `producer`: conforms and is rejected.
    """

    consumer: float
    producer: float


def normal_population(mean: float, standard: float) -> Population:
    """Items whose true values are normally distributed."""
    scale = standard * sqrt(2 * pi)
    return Population(
        lambda values: np.exp(-(((values - mean) / standard) ** 2) / 2) / scale,
        mean - _REACH * standard,
        mean + _REACH * standard,
    )


def acceptance_probability(true: float, standard: float, accepted: Interval) -> float:
    """Probability that an item of the true value is accepted (JCGM 106:2012, 9.3, 9.4).

    `standard`: standard deviation of what is measured about the true value, above zero, in the same
    unit. An interval whose ends have crossed accepts nothing.
    """
    return float(_accepted(np.array(true), standard, accepted))


def global_risks(
    population: Population, standard: float, tolerance: Interval, accepted: Interval
) -> Risks:
    """Global consumer's and producer's risk (JCGM 106:2012, 9.5)."""
    lower, upper = (min(max(e, population.low), population.high) for e in _ends(tolerance))

    def accepts(true: Values) -> Values:
        return population.density(true) * _accepted(true, standard, accepted)

    def rejects(true: Values) -> Values:
        return population.density(true) * (1 - _accepted(true, standard, accepted))

    bends = [(end, standard) for end in _ends(accepted)]
    return Risks(
        consumer=_integral(accepts, population.low, lower, bends)
        + _integral(accepts, upper, population.high, bends),
        producer=_integral(rejects, lower, upper, bends),
    )


def once_a_year(accepted: Interval, varying: float, lasting: float, times: int) -> float:
    """Probability that an item of true value zero is rejected at least once.

    In `times` measurements, with errors of standard deviation `varying` that are new each time, and
    one of standard deviation `lasting` that all of them share, as that of a reference does.
    """

    def at_least_once(shared: Values) -> Values:
        return 1 - _accepted(shared, varying, accepted) ** times

    if lasting == 0:
        return float(at_least_once(np.zeros(())))
    of = normal_population(0, lasting)
    bends = [(end, varying) for end in _ends(accepted)]
    return _integral(lambda at: of.density(at) * at_least_once(at), of.low, of.high, bends)


def _accepted(true: Values, standard: float, accepted: Interval) -> Values:
    low, high = _ends(accepted)
    if low > high:
        return np.zeros_like(true)
    # From the tail in which no digits are lost.
    below, above = (low - true) / standard, (high - true) / standard
    swap = below > 0
    inside: Values = ndtr(np.where(swap, -below, above)) - ndtr(np.where(swap, -above, below))
    return inside


def _ends(interval: Interval) -> tuple[float, float]:
    return (
        -inf if interval.lower is None else float(interval.lower),
        inf if interval.upper is None else float(interval.upper),
    )


def _integral(
    of: Callable[[Values], Values], low: float, high: float, bends: Iterable[tuple[float, float]]
) -> float:
    """By panels, narrower about the places (value, scale) where the integrand changes fast."""
    if low >= high:
        return 0.0
    near = [at + k * scale for at, scale in bends if abs(at) < inf for k in range(-12, 13)]
    ends = np.unique([low, *(x for x in near if low < x < high), high])
    ends = np.union1d(ends, np.linspace(low, high, _PANELS + 1))
    half = np.diff(ends) / 2
    nodes = (ends[:-1] + half)[:, None] + half[:, None] * _NODES
    return float(np.sum(half[:, None] * _WEIGHTS * of(nodes)))
