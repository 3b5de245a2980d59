"""Risks of a wrong decision (JCGM 106:2012, 9), with normal measurement errors.

Specific: of one item of which the value is known. Global: of any item of a population.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from weighworthy_service.metrology.limits import Interval

Values = NDArray[np.float64]
Passing = Callable[[Values], Values]
Bends = Sequence[tuple[float, float]]

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


def passing(standard: float, accepted: Interval) -> Passing:
    """What measurement with normal errors accepts; `standard` above zero, in the same unit.

    An interval whose ends have crossed accepts nothing.
    """
    low, high = _ends(accepted)

    def passes(true: Values) -> Values:
        if low > high:
            return np.zeros_like(true)
        # From the tail in which no digits are lost.
        below, above = (low - true) / standard, (high - true) / standard
        swap = below > 0
        inside: Values = ndtr(np.where(swap, -below, above)) - ndtr(np.where(swap, -above, below))
        return inside

    return passes


def acceptance_probability(true: float, standard: float, accepted: Interval) -> float:
    """Probability that an item of the true value is accepted (JCGM 106:2012, 9.3, 9.4).

    `standard`: standard deviation of what is measured about the true value, in the same unit.
    """
    return float(passing(standard, accepted)(np.array(true)))


def global_risks(
    population: Population, standard: float, tolerance: Interval, accepted: Interval
) -> Risks:
    """Global consumer's and producer's risk, measured with normal errors (JCGM 106:2012, 9.5)."""
    bends = [(end, standard) for end in _ends(accepted)]
    return risks_of(population, passing(standard, accepted), tolerance, bends)


def risks_of(population: Population, passes: Passing, tolerance: Interval, bends: Bends) -> Risks:
    """Global risks where items are accepted with any probability.

    `bends`: about which true values that changes, and how fast, as (value, scale).
    """
    lower, upper = (min(max(e, population.low), population.high) for e in _ends(tolerance))

    def accepts(true: Values) -> Values:
        return population.density(true) * passes(true)

    def rejects(true: Values) -> Values:
        return population.density(true) * (1 - passes(true))

    return Risks(
        consumer=_integral(accepts, population.low, lower, bends)
        + _integral(accepts, upper, population.high, bends),
        producer=_integral(rejects, lower, upper, bends),
    )


def averaged(of: Passing, standard: float, bends: Bends) -> float:
    """Mean over a normal deviation about zero."""
    if standard == 0:
        return float(of(np.zeros(())))
    deviation = normal_population(0, standard)
    return _integral(
        lambda at: deviation.density(at) * of(at), deviation.low, deviation.high, bends
    )


def blurred(passes: Passing, standard: float) -> Passing:
    """The same with a normal deviation of each item added."""
    if standard == 0:
        return passes
    steps = np.linspace(-_REACH, _REACH, 301)
    weights = np.exp(-(steps**2) / 2)
    weights /= np.sum(weights)
    return lambda true: np.sum(weights * passes(true[..., None] + standard * steps), axis=-1)


def _ends(interval: Interval) -> tuple[float, float]:
    return (
        -inf if interval.lower is None else float(interval.lower),
        inf if interval.upper is None else float(interval.upper),
    )


def _integral(of: Callable[[Values], Values], low: float, high: float, bends: Bends) -> float:
    """By panels, narrower about the places (value, scale) where the integrand changes fast."""
    if low >= high:
        return 0.0
    near = [at + k * scale for at, scale in bends if abs(at) < inf for k in range(-12, 13)]
    ends = np.unique([low, *(x for x in near if low < x < high), high])
    ends = np.union1d(ends, np.linspace(low, high, _PANELS + 1))
    half = np.diff(ends) / 2
    nodes = (ends[:-1] + half)[:, None] + half[:, None] * _NODES
    return float(np.sum(half[:, None] * _WEIGHTS * of(nodes)))
