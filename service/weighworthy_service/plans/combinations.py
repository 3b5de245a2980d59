"""Which weights may lie on the pan at the start of a simulated loss, and which are lifted off.

Every set of weights whose mass lies in the start window, and every part of it that may be lifted
off while something stays: exhaustive up to a number of weights on the pan, and then the best by
a stated order, so that a search has an end. Of weights that are alike in everything but their names
one is as good as the other: only the first by name are taken, and the last are lifted off.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from typing import Final

from weighworthy_service.checks.circumstances import exact_sum
from weighworthy_service.checks.terms import StartWindow
from weighworthy_service.metrology.loss import Basis, loss
from weighworthy_service.metrology.quantity import QUANTA, in_quanta
from weighworthy_service.metrology.weights import ReferenceWeight

DEFAULT_ON_PAN: Final = 4
# Combinations that are looked at; some 20 µs each.
MAX_COMBINATIONS: Final = 20_000


@dataclass(frozen=True, slots=True)
class Combination:
    """Weights by name that are lifted off and that stay, with their nominal masses in g.

    `distance`: of the nominal loss from the wanted one, in %; 0 where none is wanted.
    """

    removed: tuple[str, ...]
    staying: tuple[str, ...]
    start: Decimal
    loss: Fraction
    distance: Fraction

    @property
    def initial(self) -> tuple[str, ...]:
        """All weights on the pan at the start, those that stay first."""
        return (*self.staying, *self.removed)


@dataclass(frozen=True, slots=True)
class Aim:
    """Which losses are looked for, in %: near `wanted` (None: any), by at most `allowance` (None:
    however far)."""

    basis: Basis
    wanted: Decimal | None = None
    allowance: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """`looked_at`: sets of weights within the number; `in_window`: of these, those in the window;
    `combinations`: with each part that may be lifted off and whose loss is not too far.

    `whole`: all sets were looked at, and not only so many that there were enough combinations;
    `alike`: weights that are like one before them.
    """

    looked_at: int
    in_window: int
    combinations: tuple[Combination, ...]
    whole: bool
    alike: int


def search(
    weights: Mapping[str, ReferenceWeight],
    window: StartWindow,
    most: int,
    aim: Aim,
) -> Found:
    """All combinations of at most so many weights on the pan, in `order`."""
    masses = {name: in_quanta(weight.mass) for name, weight in weights.items()}
    target, allowance = Fraction(window.target), Fraction(window.allowance)
    low, high = (target - allowance) * QUANTA, (target + allowance) * QUANTA
    looked_at = in_window = 0
    found: list[Combination] = []
    tried = 0
    before = _alike(weights)
    for names in _sets(sorted(weights), most, before):
        if tried >= MAX_COMBINATIONS:
            break
        looked_at += 1
        if low <= sum([masses[name] for name in names]) <= high:
            in_window += 1
            tried += 2 ** len(names) - 2
            found += _parts(names, weights, aim, before)
    found.sort(key=order)
    return Found(looked_at, in_window, tuple(found), tried < MAX_COMBINATIONS, len(before))


def _alike(weights: Mapping[str, ReferenceWeight]) -> dict[str, str]:
    """By the name of a weight that of the one before it which it is like, if there is one."""
    last: dict[ReferenceWeight, str] = {}
    before = {}
    for name in sorted(weights):
        nameless = replace(weights[name], name="", certificate=None)
        if nameless in last:
            before[name] = last[nameless]
        last[nameless] = name
    return before


def _sets(names: Sequence[str], most: int, before: Mapping[str, str]) -> Iterator[tuple[str, ...]]:
    for size in range(1, most + 1):
        for chosen in combinations(names, size):
            if all(before[name] in chosen for name in chosen if name in before):
                yield chosen


def order(one: Combination) -> tuple[Fraction, int, tuple[str, ...], tuple[str, ...]]:
    """Nearest first, then fewest weights on the pan, then fewest lifted off, then by name."""
    return (one.distance, len(one.initial), one.removed, one.staying)


def _parts(
    names: Sequence[str],
    weights: Mapping[str, ReferenceWeight],
    aim: Aim,
    before: Mapping[str, str],
) -> Iterator[Combination]:
    start = exact_sum(weights[name].nominal for name in names)
    for size in range(1, len(names)):
        for removed in combinations(names, size):
            staying = tuple(name for name in names if name not in removed)
            if any(before.get(name) in removed for name in staying):
                continue
            end = exact_sum(weights[name].nominal for name in staying)
            nominal = loss(Fraction(start), Fraction(end), aim.basis)
            distance = Fraction(0) if aim.wanted is None else abs(nominal - Fraction(aim.wanted))
            if aim.allowance is None or distance <= Fraction(aim.allowance):
                yield Combination(removed, staying, start, nominal, distance)
