"""What may be behind a value that is off, and how large it would have to be.

A kind says in its part `causes` what its values show of each cause:

    sights(check, terms, evaluation) -> Iterable[Sight]
        every cause that acts on one of its values, with the sensitivity of that value to it;
    asked(check, terms, cause) -> Sight | None       (may be absent)
        what its readings say of a cause that another check named, such as a departure from
        linearity between two loads; None: nothing;
    adjustments(check) -> int                        (may be absent: none)
        how many times the balance was adjusted in the check;
    SEES: tuple of names of causes that a check of this kind would show or bound, none of those
        that belong to one check alone (`only`), which no other can tell of.

A cause alone, of size x, moves a value v of expanded uncertainty U by c·x; so x lies between
(v - U)/c and (v + U)/c. Where c is not known but bounded, x lies in the union over all such c.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import fsum, inf, sqrt
from typing import Final, Literal

from weighworthy_service.checks.outcome import Criterion

# A sum of sensitivities this small beside its parts is none: nominal masses stand in for true ones.
_CANCELS: Final = 1e-3

# Size of a cause: its ends, infinite where there is none.
Size = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that may be wrong, with the unit of its size ("1": relative).

    `about` names the weight, `loads` are the nominal loads in g that it lies at. `only`: it belongs
    to one place of one check, and no other check can tell of it. `unsigned`: its size has no sign.
    `after`: the adjustments of this check that came before; only of what adjusting changes.
    """

    name: str
    unit: Literal["g", "%", "1"]
    about: str | None = None
    loads: tuple[Decimal, ...] = ()
    only: str | None = None
    unsigned: bool = False
    after: int | None = None


@dataclass(frozen=True, slots=True)
class Sight:
    """What one value says of one cause.

    `value` and `expanded` are in the unit of the value, the sensitivity to the cause lies from
    `least` to `most`. `what`: what the value is, where it is no criterion of the answer. `picked`:
    it is the worst of several, so that chance is in it, or holds more than can be told apart: it
    may need a cause and bounds none.
    `after`: the adjustments of its check before it, of a value that adjusting changes: it says
    nothing of what was there before another adjustment.
    """

    cause: Cause
    criterion: str
    value: float
    expanded: float
    least: float
    most: float
    what: str | None = None
    picked: bool = False
    after: int | None = None

    @property
    def acts(self) -> bool:
        """Whether the cause moves this value at all."""
        return self.least != 0 or self.most != 0

    @property
    def size(self) -> Size:
        """How large the cause can be, alone, with this value."""
        low, high = self.value - self.expanded, self.value + self.expanded
        if self.cause.unsigned:
            reach = max(abs(self.least), abs(self.most))
            surely = 0.0 if self.least <= 0 <= self.most else min(abs(self.least), abs(self.most))
            nearest = max(0.0, low, -high)
            farthest = max(abs(low), abs(high))
            return nearest / reach if reach else 0.0, farthest / surely if surely else inf
        if self.most < 0:
            low, high, least, most = -high, -low, -self.most, -self.least
        else:
            least, most = self.least, self.most
        if least <= 0:  # of either sign, or none at all: nothing bounds it
            return -inf, inf
        return min(low / least, low / most), max(high / least, high / most)


def apart(one: Size, other: Size) -> bool:
    """Whether no size is in both."""
    return one[1] < other[0] or other[1] < one[0]


@dataclass(frozen=True)
class Dependence:
    """How a value depends on loaded readings and on weights, as its budget has it.

    `readings`: mass on the pan in g, the sensitivity to that reading, and how many times the pan
    was loaded since the zero that it is held against; `weights`: sensitivity to the stated mass of
    each; `capacity` in g.
    """

    readings: tuple[tuple[float, float, int], ...]
    weights: Mapping[str, float] = field(default_factory=dict)
    capacity: float | None = None

    def of(self, criterion: Criterion, *, after: int | None = None) -> Iterator[Sight]:
        """What a criterion that depends so says of the causes that all readings share."""
        if criterion.value is None or criterion.expanded_uncertainty is None:
            return
        value, expanded = float(criterion.value), float(criterion.expanded_uncertainty)
        spread = (criterion.coverage_factor or 2.0) * sqrt(fsum(c * c for _, c, _ in self.readings))
        placed = fsum(abs(c) * load for load, c, _ in self.readings)
        for cause, least, most in (
            (Cause("gain", "1", after=after), *_same(self.gain)),
            (Cause("curvature", "g"), *_same(self.curvature)),
            *((Cause("weight", "g", about=name), *_same(-c)) for name, c in self.weights.items()),
            (Cause("zero-change", "g"), *self.zero_change),
            (Cause("scatter", "g", unsigned=True), -spread, spread),
            (Cause("off-centre", "1", unsigned=True), -placed, placed),
        ):
            adjusted = after if self.gain else None
            sight = Sight(cause, criterion.key, value, expanded, least, most, after=adjusted)
            if sight.acts:
                yield sight

    @property
    def gain(self) -> float:
        """Sensitivity to a relative error of all readings alike."""
        return _sum(c * load for load, c, _ in self.readings)

    @property
    def zero_change(self) -> tuple[float, float]:
        """To a zero that moves with every loading: once, or with each since it was read."""
        ends = [(c, c * times) for _, c, times in self.readings]
        return _sum(min(pair) for pair in ends), _sum(max(pair) for pair in ends)

    @property
    def curvature(self) -> float:
        """Sensitivity to a bow of so much at half the capacity, nothing at zero and at capacity."""
        if self.capacity is None:
            return 0.0
        most = self.capacity
        return _sum(4 * c * load / most * (1 - load / most) for load, c, _ in self.readings)


def of_criterion(
    criterion: Criterion, cause: Cause, least: float, most: float | None = None
) -> Iterator[Sight]:
    """What one criterion says of one cause, if it has a value at all."""
    if criterion.value is None or criterion.expanded_uncertainty is None:
        return
    yield Sight(
        cause,
        criterion.key,
        float(criterion.value),
        float(criterion.expanded_uncertainty),
        least,
        least if most is None else most,
    )


def _same(sensitivity: float) -> tuple[float, float]:
    return sensitivity, sensitivity


def _sum(parts: Iterable[float]) -> float:
    each = list(parts)
    total = fsum(each)
    return 0.0 if abs(total) <= _CANCELS * fsum(map(abs, each)) else total


def ratio(numerator: int | Fraction, denominator: int) -> float:
    """A sensitivity as a number."""
    return float(Fraction(numerator) / denominator)
