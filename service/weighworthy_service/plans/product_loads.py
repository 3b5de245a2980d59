"""Which loads the checks of a product take: around the sample before and after, and a span."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, SenseError
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import StartWindow
from weighworthy_service.metrology.loss import Basis
from weighworthy_service.plans.combinations import Aim, Combination, search
from weighworthy_service.plans.words import amount

# Weights on the pan at one point of a linearity check, and at the start of a simulated loss.
_AT_A_POINT: Final = 3
_AT_A_START: Final = 4


@dataclass(frozen=True, slots=True)
class ProductLoads:
    """`span`: one weight; `points`: loads at or below the dried sample, and at or above the fresh
    one, with one between where there is any; `loss`: a simulated loss like the sample's."""

    span: Load
    points: tuple[Load, ...]
    loss: Combination


def product_loads(
    here: Circumstances,
    masses: tuple[Fraction, Fraction],
    loss: Decimal,
    basis: Basis,
    window: StartWindow,
) -> ProductLoads:
    """Loads from the weights at hand; `masses`: of the sample before and after, in g.

    Raises:
        SenseError: the weights do not reach around the sample, or make no loss in the window.
    """
    capacity = here.instrument.capacity
    loads = list(_loads(here, _AT_A_POINT))
    start, end = masses
    below = [one for one in loads if one[0] <= end]
    above = [one for one in loads if one[0] >= start]
    flaws = []
    if not below:
        said = f"no weights make a load at or below the dried sample, {amount(end, 'g')}"
        flaws.append(Flaw(("weights",), "required", said))
    if not above:
        said = (
            f"no weights make a load at or above the sample, {amount(start, 'g')}, within the "
            "capacity"
        )
        flaws.append(Flaw(("weights",), "required", said))
    most = min(_AT_A_START, len(here.weights))
    found = search(here.weights, window, most, Aim(basis, loss)).combinations
    if not found:
        said = (
            f"no weights make a simulated loss that begins {amount(window.allowance, 'g')} or less "
            f"from {amount(window.target, 'g')}"
        )
        flaws.append(Flaw(("start_window",), "not-possible", said))
    singles = [
        weight for weight in here.weights.values() if capacity is None or weight.nominal <= capacity
    ]
    if not singles:
        flaws.append(Flaw(("weights",), "required", "every weight is above the capacity"))
    if flaws:
        raise SenseError(flaws)
    lower, upper = max(below, key=_nearest_below), min(above, key=_nearest_above)
    points = dict.fromkeys([lower[1], *_between(loads, lower[0], upper[0]), upper[1]])
    span = max(singles, key=lambda weight: (weight.nominal, weight.name))
    return ProductLoads((span.name,), tuple(points), found[0])


def _loads(here: Circumstances, most: int) -> Iterator[tuple[Fraction, Load]]:
    """Loads of up to so many weights within the capacity, with their nominal masses."""
    capacity = here.instrument.capacity
    for size in range(1, most + 1):
        for names in combinations(sorted(here.weights), size):
            nominal = here.nominal(names)
            if capacity is None or nominal <= capacity:
                yield Fraction(nominal), names


def _nearest_below(one: tuple[Fraction, Load]) -> tuple[Fraction, int]:
    return one[0], -len(one[1])


def _nearest_above(one: tuple[Fraction, Load]) -> tuple[Fraction, int]:
    return one[0], len(one[1])


def _between(
    loads: Sequence[tuple[Fraction, Load]], low: Fraction, high: Fraction
) -> Iterator[Load]:
    """The load nearest to the middle, of the fewest weights; none: there is nothing between."""
    middle = (low + high) / 2
    inside = [one for one in loads if low < one[0] < high]
    if inside:
        yield min(inside, key=lambda one: (abs(one[0] - middle), len(one[1]), one[1]))[1]


def as_json(loads: ProductLoads) -> Mapping[str, object]:
    """As an answer shows them."""
    return {
        "span": list(loads.span),
        "linearity": [list(point) for point in loads.points],
        "simulated-loss": {
            "put_on": list(loads.loss.initial),
            "lift_off": list(loads.loss.removed),
            "stay": list(loads.loss.staying),
        },
    }
