"""Straight lines through a curve of errors over load, and what the curve departs from them.

Four lines, four different numbers; they differ by up to a factor of two and must never be mixed:

- terminal: through zero load and the highest load;
- zero-based: through zero load, making the largest departure smallest (minimax);
- independent: free, making the largest departure smallest (minimax);
- least squares: free, making the sum of squares smallest.

The curve starts with zero load at zero error, which is exact by definition: the balance is read
against its zero. All arithmetic is exact. Each line is linear in the errors, so a departure is a
weighted sum of them; the weights are the sensitivities that its uncertainty needs.

Each function takes the loads besides zero, ascending, all different and above zero, and the mean
error at each; only `least_squares` would also take a load twice.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

Vector = tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Departures:
    """Departure of each point from the line, and its sensitivities to the error of every point."""

    values: Vector
    sensitivities: tuple[Vector, ...]


def terminal(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the line through zero load and the highest load."""
    top = len(loads) - 1
    return _through_zero(loads, errors, {top: 1 / loads[top]})


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
            return _through_zero(loads, errors, {i: each, j: each})
        # The newcomer replaces the point on its own side of the line.
        stays = next(n for n in pair if n != far and off[n] * off[far] <= 0)
        pair = (min(stays, far), max(stays, far))


def independent(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the free line whose largest departure is smallest.

    Half the largest vertical gap between a side of the convex hull and the point opposite: three
    points that alternate (two of them may be zero load and another). Exact.
    """
    xs = (Fraction(0), *loads)
    es = (Fraction(0), *errors)
    a, b, c = _alternating(xs, es)
    along = (xs[b] - xs[a]) / (xs[c] - xs[a])

    # line(x) = E_a + slope·(x - x_a) + half the gap at b, written as weights of E_a, E_b, E_c.
    def line(x: Fraction) -> dict[int, Fraction]:
        t = (x - xs[a]) / (xs[c] - xs[a])
        half = Fraction(1, 2)
        return {a: 1 - t - half * (1 - along), b: half, c: t - half * along}

    return _departures(xs, es, line)


def least_squares(loads: Sequence[Fraction], errors: Sequence[Fraction]) -> Departures:
    """Departures from the ordinary least-squares line, zero load included."""
    xs = (Fraction(0), *loads)
    es = (Fraction(0), *errors)
    n = len(xs)
    mean = sum(xs, Fraction(0)) / n
    spread = sum(((x - mean) ** 2 for x in xs), Fraction(0))

    def line(x: Fraction) -> dict[int, Fraction]:
        return {j: Fraction(1, n) + (x - mean) * (xj - mean) / spread for j, xj in enumerate(xs)}

    return _departures(xs, es, line)


def _through_zero(
    loads: Sequence[Fraction], errors: Sequence[Fraction], slope: dict[int, Fraction]
) -> Departures:
    def line(x: Fraction) -> dict[int, Fraction]:
        return {j + 1: weight * x for j, weight in slope.items()}

    return _departures((Fraction(0), *loads), (Fraction(0), *errors), line)


def _departures(
    xs: Sequence[Fraction], es: Sequence[Fraction], line: Callable[[Fraction], dict[int, Fraction]]
) -> Departures:
    """Departures at all points, zero load first; its error has no sensitivity column."""
    values, rows = [], []
    for i, x in enumerate(xs):
        row = [Fraction(0)] * len(xs)
        row[i] += 1
        for j, weight in line(x).items():
            row[j] -= weight
        values.append(sum((c * e for c, e in zip(row, es, strict=True)), Fraction(0)))
        rows.append(tuple(row[1:]))
    return Departures(tuple(values), tuple(rows))


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
