"""Straight lines through a curve of errors over load, and what the curve departs from them.

Four lines, four different numbers; they differ by up to a factor of two and must never be mixed:

- terminal: through zero load and the highest load;
- zero-based: through zero load, making the largest departure smallest (minimax);
- independent: free, making the largest departure smallest (minimax);
- least squares: free, making the sum of squares smallest.

The curve starts with zero load at zero error, which is exact by definition: the balance is read
against its zero. All arithmetic is exact, in whole numbers: loads and errors in their finest common
step. Intercept and slope of each line are weighted sums of the errors; the weights give the
sensitivities that the uncertainty of a departure needs.

Each function takes the loads besides zero, ascending, all different and above zero, and the mean
error at each; only `least_squares` would also take a load twice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm


@dataclass(frozen=True, slots=True)
class Line:
    """A line in whole numbers: weights of the errors, by place from zero load.

    Intercept and slope are the weighted sums over `per`; with loads in the steps that slopes take.
    """

    intercept: Mapping[int, int]
    slope: Mapping[int, int]
    per: int


@dataclass(frozen=True, slots=True)
class Departures:
    """How far each place of the curve, zero load first, departs from a line through it.

    `loads` in whole steps; `sizes`: magnitudes of the values in whole numbers; `fixed`: places that
    the line passes through by its definition.
    """

    loads: tuple[int, ...]
    values: tuple[Fraction, ...]
    sizes: tuple[int, ...]
    line: Line
    fixed: frozenset[int]

    def sensitivities(self, place: int) -> tuple[Fraction, ...]:
        """Sensitivities of the departure at a place to each error but that of zero load."""
        factors, per = self.factors(place)
        return tuple(Fraction(factor, per) for factor in factors)

    def factors(self, place: int) -> tuple[list[int], int]:
        """The sensitivities as whole numbers over one denominator."""
        found = [0] * len(self.loads)
        found[place] = self.line.per
        for j, weight in self.line.intercept.items():
            found[j] -= weight
        for j, weight in self.line.slope.items():
            found[j] -= weight * self.loads[place]
        return found[1:], self.line.per


def terminal(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the line through zero load and the highest load."""
    xs, es, step = _whole(loads, errors)
    top = len(loads)
    return _departures(xs, es, step, Line({}, {top: 1}, xs[top]), frozenset({0, top}))


def zero_based(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the line through zero load whose largest departure is smallest.

    At the optimum two points depart equally far to opposite sides, so the slope is
    (E_i + E_j)/(x_i + x_j); the pair is found by exchange, each step leaving a larger least value.
    """
    xs, es, step = _whole(loads, errors)
    pair = (1, 2)
    while True:
        i, j = pair
        rise, run = es[i] + es[j], xs[i] + xs[j]
        off = [e * run - rise * x for x, e in zip(xs, es, strict=True)]
        far = max(range(1, len(off)), key=lambda n: abs(off[n]))
        if abs(off[far]) <= abs(off[i]):
            return _departures(xs, es, step, Line({}, {i: 1, j: 1}, run), frozenset({0}))
        # The newcomer replaces the point on its own side of the line.
        stays = next(n for n in pair if n != far and off[n] * off[far] <= 0)
        pair = (min(stays, far), max(stays, far))


def independent(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the free line whose largest departure is smallest.

    Half the largest vertical gap between a side of the convex hull and the point opposite: three
    places a < b < c that alternate. The line is the chord a to c, moved half the gap towards b.
    """
    xs, es, step = _whole(loads, errors)
    a, b, c = _alternating(xs, es)
    chord, beyond = xs[c] - xs[a], xs[c] - xs[b]
    # Over twice the chord: at zero load the chord, and half the gap at b towards b.
    intercept = {
        a: 2 * xs[c] - beyond,
        b: chord,
        c: -2 * xs[a] - (xs[b] - xs[a]),
    }
    line = Line(intercept, {a: -2, c: 2}, 2 * chord)
    return _departures(xs, es, step, line, frozenset())


def least_squares(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the ordinary least-squares line, zero load included."""
    xs, es, step = _whole(loads, errors)
    n, total = len(xs), sum(xs)
    # n times the deviation of each load from the mean, and n times the sum of squared deviations.
    slope = {j: n * x - total for j, x in enumerate(xs)}
    spread = n * sum(x * x for x in xs) - total * total
    intercept = {j: spread - total * weight for j, weight in slope.items()}
    line = Line(intercept, {j: n * weight for j, weight in slope.items()}, n * spread)
    return _departures(xs, es, step, line, frozenset())


def _whole(
    loads: Sequence[Fraction], errors: Sequence[Fraction]
) -> tuple[list[int], list[int], int]:
    """Loads and errors, those of zero load first, in steps of one `step`-th."""
    step = lcm(*(value.denominator for value in (*loads, *errors)))
    xs, es = ([v.numerator * (step // v.denominator) for v in values] for values in (loads, errors))
    return [0, *xs], [0, *es], step


def _departures(
    xs: Sequence[int], es: Sequence[int], step: int, line: Line, fixed: frozenset[int]
) -> Departures:
    offset = sum(weight * es[j] for j, weight in line.intercept.items())
    rise = sum(weight * es[j] for j, weight in line.slope.items())
    off = [e * line.per - offset - rise * x for x, e in zip(xs, es, strict=True)]
    values = tuple([Fraction(each, line.per * step) for each in off])
    return Departures(tuple(xs), values, tuple([abs(each) for each in off]), line, fixed)


def _alternating(xs: Sequence[int], es: Sequence[int]) -> tuple[int, int, int]:
    """The three points of the largest vertical gap of the convex hull, by ascending load."""
    best, per, triple = -1, 1, (0, 1, 2)
    for sign in (1, -1):
        hull = _lower_hull(xs, [sign * e for e in es])
        for a, c in pairwise(hull):
            rise, run = es[c] - es[a], xs[c] - xs[a]
            for b in range(a + 1, c):
                gap = abs((es[b] - es[a]) * run - rise * (xs[b] - xs[a]))
                if gap * per > best * run:
                    best, per, triple = gap, run, (a, b, c)
    return triple


def _lower_hull(xs: Sequence[int], es: Sequence[int]) -> list[int]:
    hull: list[int] = []
    for i in range(len(xs)):
        while len(hull) > 1 and _turns_up(xs, es, hull[-2], hull[-1], i) is False:
            hull.pop()
        hull.append(i)
    return hull


def _turns_up(xs: Sequence[int], es: Sequence[int], a: int, b: int, c: int) -> bool:
    return (es[b] - es[a]) * (xs[c] - xs[a]) < (es[c] - es[a]) * (xs[b] - xs[a])
