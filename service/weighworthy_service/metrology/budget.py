"""From input uncertainties to the expanded uncertainty of one result (JCGM 100:2008)."""

from bisect import bisect_left
from collections.abc import Sequence
from decimal import ROUND_UP, Decimal
from functools import lru_cache
from math import fsum, inf, sqrt
from typing import Literal, NamedTuple

from scipy.special import gammaincinv, ndtr, ndtri, stdtr, stdtrit

from weighworthy_service.metrology.rounding import rounding_context

# Digits of the stated expanded uncertainty (JCGM 100:2008, 7.2.6), and digits to which k·u is
# taken before it is rounded up, so that the last bit of a float never adds a digit's worth.
STATED_DIGITS = 2
SETTLED_DIGITS = 10
_STATED = rounding_context(STATED_DIGITS, ROUND_UP)
_FEW_DIGITS = 10 ** (SETTLED_DIGITS - 1)
_SETTLED = f"%.{SETTLED_DIGITS - 1}e"

# All numbers that may be stated, in g or % from far below to far above any balance, and by how much
# more than floats and settled digits may be off a value has to be away from them.
STATED_VALUES = [
    Decimal(f"{digits}e{exponent}")
    for exponent in range(-18, 9)
    for digits in range(10 ** (STATED_DIGITS - 1), 10**STATED_DIGITS)
]
STATED_STEPS = [float(value) for value in STATED_VALUES]
_BELOW, _ABOVE = 1 - 1e-6, 1 + 1e-6

TWO_SIGMA = float(ndtr(2) - ndtr(-2))
_TWO_SIGMA_AS_WRITTEN = Decimal("95.45")


class BudgetRow(NamedTuple):
    """One input: its standard uncertainty (in `unit`), sensitivity, and what it contributes.

    `contribution` is in the unit of the result; `degrees_of_freedom` is inf if it is known.
    `varies`: it is new in every check; all else stays as long as the same weights or other
    references are used.
    """

    source: str
    distribution: Literal["normal", "rectangular", "mixed"]
    standard_uncertainty: float
    unit: str
    sensitivity: float
    degrees_of_freedom: float = inf
    varies: bool = False

    @property
    def contribution(self) -> float:
        """|sensitivity| times standard uncertainty."""
        return abs(self.sensitivity) * self.standard_uncertainty

    def acting(self, sensitivity: float) -> "BudgetRow":
        """The same input where it acts with another sensitivity."""
        source, distribution, u, unit, _, degrees, varies = self
        return BudgetRow(source, distribution, u, unit, sensitivity, degrees, varies)


# Position of a contribution that rests on an estimate, and its degrees of freedom.
Estimate = tuple[int, float]


class Uncertainty(NamedTuple):
    """Combined and expanded uncertainty, in the unit of the result."""

    standard: float
    degrees_of_freedom: float
    coverage_factor: float
    expanded: Decimal
    rows: tuple[BudgetRow, ...] = ()


def combine(rows: Sequence[BudgetRow], coverage: Decimal) -> Uncertainty:
    """Combine independent rows (JCGM 100:2008, 5.1.2, G.4.1, G.6.4); `coverage` in %.

    The effective degrees of freedom are neither truncated nor rounded. The expanded uncertainty
    is k·u rounded up to two significant digits: the decimal that decisions use.
    """
    contributions = [row.contribution for row in rows]
    found = combine_contributions(contributions, estimates(rows), coverage)
    return Uncertainty(*found[:4], tuple(rows))


def combine_contributions(
    contributions: Sequence[float], estimated: Sequence[Estimate], coverage: Decimal
) -> Uncertainty:
    """The same from the contributions alone, without their rows."""
    standard, degrees = spread(contributions, estimated)
    factor = t_quantile(_upper_end(coverage), degrees)
    return Uncertainty(standard, degrees, factor, stated(factor * standard))


def spread(contributions: Sequence[float], estimated: Sequence[Estimate]) -> tuple[float, float]:
    """Combined standard uncertainty and effective degrees of freedom.

    JCGM 100:2008, 5.1.2, and the Welch–Satterthwaite formula, G.2b; inf when nothing was estimated.
    """
    variance = fsum([c**2 for c in contributions])
    quotient = fsum([contributions[i] ** 4 / degrees for i, degrees in estimated])
    return sqrt(variance), variance**2 / quotient if quotient else inf


def estimates(rows: Sequence[BudgetRow]) -> list[Estimate]:
    """The rows that were estimated, all others being known."""
    return [
        (i, row.degrees_of_freedom) for i, row in enumerate(rows) if row.degrees_of_freedom != inf
    ]


def stated(value: float) -> Decimal:
    """The value as it is stated: settled, then rounded up."""
    # Far from a number of two digits the next one above is it, which is found quicker than rounded.
    step = bisect_left(STATED_STEPS, value * _BELOW)
    if 0 < step < len(STATED_STEPS) and value * _ABOVE <= STATED_STEPS[step]:
        return STATED_VALUES[step]
    if value < _FEW_DIGITS and (2 * value).is_integer():
        # No more digits than settled ones; one digit alone gets no zero behind it.
        return _STATED.plus(Decimal.from_float(value))
    # Formatting rounds the exact binary value half to even, and is the quicker way to do it.
    return _STATED.plus(Decimal(_SETTLED % value))


def standard_uncertainty(rows: Sequence[BudgetRow]) -> float:
    """Root of the sum of squared contributions (JCGM 100:2008, 5.1.2)."""
    return spread([row.contribution for row in rows], ())[0]


def coverage_factor(degrees_of_freedom: float, coverage: Decimal) -> float:
    """Student's t quantile at (1 + p)/2 for a symmetric interval of coverage p (in %).

    "95.45 %" stands for the coverage of two standard deviations, 95.44997 %, as in Table G.2 of
    JCGM 100:2008: taken literally, k would be 2.0000024 and a round 2u be rounded up a step.
    """
    return t_quantile(_upper_end(coverage), degrees_of_freedom)


@lru_cache(maxsize=64)
def _upper_end(coverage: Decimal) -> float:
    share = TWO_SIGMA if coverage == _TWO_SIGMA_AS_WRITTEN else float(coverage) / 100
    return (1 + share) / 2


# Readings differ by a few steps of the display, and so come again and again; a quantile of broken
# degrees of freedom takes as long as all else of their uncertainty.
@lru_cache(maxsize=4096)
def t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Quantile of Student's t distribution; of the normal one for inf."""
    if degrees_of_freedom == inf:
        return float(ndtri(probability))
    return float(stdtrit(degrees_of_freedom, probability))


def t_probability(value: float, degrees_of_freedom: float) -> float:
    """Cumulative probability of Student's t distribution; of the normal one for inf."""
    if degrees_of_freedom == inf:
        return float(ndtr(value))
    return float(stdtr(degrees_of_freedom, value))


def chi_square_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Quantile of the chi-square distribution: what Σ(x - mean)²/σ² stays below so often."""
    return 2 * float(gammaincinv(degrees_of_freedom / 2, probability))
