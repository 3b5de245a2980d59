"""Straight lines through a curve of errors over load, and what the curve departs from them.

Four lines, four different numbers; they differ by up to a factor of two and must never be mixed:

- terminal: through zero load and the highest load;
- zero-based: through zero load, making the largest departure smallest (minimax);
- independent: free, making the largest departure smallest (minimax);
- least squares: free, making the sum of squares smallest.

The curve starts with zero load at zero error, which is exact by definition: the balance is read
against its zero. All arithmetic is exact. Intercept and slope of each line are weighted sums of the
errors; the weights give the sensitivities that the uncertainty of a departure needs.

Each function takes the loads besides zero, ascending, all different and above zero, and the mean
error at each; only `least_squares` would also take a load twice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

# Weight of the error at each place; places count from zero load.
Weights = Mapping[int, Fraction]


@dataclass(frozen=True, slots=True)
class Departures:
    """How far each place of the curve, zero load first, departs from a line through it.

    `fixed`: places that the line passes through by its definition.
    """

    loads: tuple[Fraction, ...]
    values: tuple[Fraction, ...]
    intercept: Weights
    slope: Weights
    fixed: frozenset[int]

    def sensitivities(self, place: int) -> tuple[Fraction, ...]:
        """Sensitivities of the departure at a place to each error but that of zero load."""
        found = {place: Fraction(1)}
        for weights, factor in ((self.intercept, Fraction(1)), (self.slope, self.loads[place])):
            for j, weight in weights.items():
                found[j] = found.get(j, Fraction(0)) - weight * factor
        return tuple(found.get(j, Fraction(0)) for j in range(1, len(self.loads)))


def terminal(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the line through zero load and the highest load."""
    top = len(loads)
    return _departures(loads, errors, {}, {top: 1 / loads[-1]}, frozenset({0, top}))


def zero_based(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the line through zero load whose largest departure is smallest.

    At the optimum two points depart equally far to opposite sides, so the slope is
    (E_i + E_j)/(x_i + x_j); the pair is found by exchange, each step leaving a larger least value.
    """
    pair = (0, 1)
    while True:
        i, j = pair
        slope = (errors[i] + errors[j]) / (loads[i] + loads[j])
        reach = abs(errors[i] - slope * loads[i])
        off = [e - slope * x for x, e in zip(loads, errors, strict=True)]
        far = max(range(len(off)), key=lambda n: abs(off[n]))
        if abs(off[far]) <= reach:
            each = 1 / (loads[i] + loads[j])
            weights = {i + 1: each, j + 1: each}
            return _departures(loads, errors, {}, weights, frozenset({0}))
        # The newcomer replaces the point on its own side of the line.
        stays = next(n for n in pair if n != far and off[n] * off[far] <= 0)
        pair = (min(stays, far), max(stays, far))


def independent(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the free line whose largest departure is smallest.

    Half the largest vertical gap between a side of the convex hull and the point opposite: three
    places a < b < c that alternate. The line is the chord a to c, moved half the gap towards b.
    """
    xs = (Fraction(0), *loads)
    a, b, c = _alternating(xs, (Fraction(0), *errors))
    chord = xs[c] - xs[a]
    along = (xs[b] - xs[a]) / chord
    half = Fraction(1, 2)
    intercept = {
        a: xs[c] / chord - half * (1 - along),
        b: half,
        c: -xs[a] / chord - half * along,
    }
    return _departures(loads, errors, intercept, {a: -1 / chord, c: 1 / chord}, frozenset())


def least_squares(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the ordinary least-squares line, zero load included."""
    xs = (Fraction(0), *loads)
    mean = sum(xs, Fraction(0)) / len(xs)
    spread = sum(((x - mean) ** 2 for x in xs), Fraction(0))
    slope = {j: (x - mean) / spread for j, x in enumerate(xs)}
    intercept = {j: Fraction(1, len(xs)) - mean * weight for j, weight in slope.items()}
    return _departures(loads, errors, intercept, slope, frozenset())


def _departures(
    loads: Sequence[Fraction],
    errors: Sequence[Fraction],
    intercept: Weights,
    slope: Weights,
    fixed: frozenset[int],
) -> Departures:
    xs, es = (Fraction(0), *loads), (Fraction(0), *errors)
    offset = sum((weight * es[j] for j, weight in intercept.items()), Fraction(0))
    rise = sum((weight * es[j] for j, weight in slope.items()), Fraction(0))
    values = tuple(e - offset - rise * x for x, e in zip(xs, es, strict=True))
    return Departures(xs, values, intercept, slope, fixed)


def _alternating(xs: Sequence[Fraction], es: Sequence[Fraction]) -> tuple[int, int, int]:
    """The three points of the largest vertical gap of the convex hull, by ascending load."""
    best, triple = Fraction(-1), (0, 1, 2)
    for sign in (1, -1):
        hull = _lower_hull(xs, [sign * e for e in es])
        for a, c in pairwise(hull):
            slope = (es[c] - es[a]) / (xs[c] - xs[a])
            for b in range(a + 1, c):
                gap = abs(es[b] - es[a] - slope * (xs[b] - xs[a]))
                if gap > best:
                    best, triple = gap, (a, b, c)
    return triple


def _lower_hull(xs: Sequence[Fraction], es: Sequence[Fraction]) -> list[int]:
    hull: list[int] = []
    for i in range(len(xs)):
        while len(hull) > 1 and _turns_up(xs, es, hull[-2], hull[-1], i) is False:
            hull.pop()
        hull.append(i)
    return hull


def _turns_up(xs: Sequence[Fraction], es: Sequence[Fraction], a: int, b: int, c: int) -> bool:
    return (es[b] - es[a]) * (xs[c] - xs[a]) < (es[c] - es[a]) * (xs[b] - xs[a])
