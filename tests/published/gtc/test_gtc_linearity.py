"""Budgets of linearity checks, recomputed with GTC from the measurement model.

Lines are drawn here through uncertain numbers: which loads a minimax line rests on is found by
exhaustive search in fractions. Where two searches end level the line's departures are the same, but
their budgets need not be: such a line is left to the exact comparison of all minimax lines.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.linearity.evaluation import evaluate

LOADS = [
    ("W50",),
    ("W20", "V20", "W10"),  # 50 g as well
    ("W20",),
    ("V20",),
    ("W10",),
    ("W5",),
    ("W2", "W1"),
    ("W20", "W10"),
    ("W50", "W20"),
]


@dataclass(frozen=True)
class Drawn:
    """A point with readings in units of 1e-9 g; the zero it is read against, and its key."""

    index: int
    load: tuple[str, ...]
    direction: str | None
    own_zero: int | None
    zero: int
    zero_key: int
    off: int


@st.composite
def runs(draw: st.DrawFn) -> list[Drawn]:
    count = draw(st.integers(3, 10))
    drawn, zero, key = [], 0, 0
    # Mostly one point each at different loads, then repeats and the way down.
    order = draw(st.permutations(LOADS))
    for index in range(count):
        own = draw(st.integers(-(10**6), 10**6)) if index == 0 else None
        if index > 0 and draw(st.booleans()):
            own = draw(st.integers(-(10**6), 10**6))
        if own is not None:
            zero, key = own, index
        load = order[index] if index < 6 else draw(st.sampled_from(order[:6]))
        way = draw(st.sampled_from(["up", "down", None]))
        off = draw(st.integers(-(10**7), 10**7))
        drawn.append(Drawn(index, load, way, own, zero, key, off))
    return drawn


class Run:
    """The exact curve of a run, and its errors as uncertain numbers."""

    def __init__(self, model: Any, drawn: list[Drawn]) -> None:
        self.drawn = drawn
        self.shown = {p.index: model.nominal(p.load) + _grams(p.off) for p in drawn}
        self.masses = {p.index: sum(model.mass(n) for n in p.load) for p in drawn}
        self.exact = {
            p.index: Fraction(self.shown[p.index] - _grams(p.zero) - self.masses[p.index])
            for p in drawn
        }
        self.groups: dict[Decimal, list[Drawn]] = defaultdict(list)
        for p in drawn:
            self.groups[model.nominal(p.load)].append(p)
        self.curve = sorted(
            (sum(Fraction(self.masses[p.index]) for p in group) / len(group), load)
            for load, group in self.groups.items()
        )
        self.xs = [Fraction(0), *(x for x, _ in self.curve)]
        self.es = [Fraction(0), *(self.mean(self.groups[load]) for _, load in self.curve)]

    def mean(self, points: Sequence[Drawn]) -> Fraction:
        return sum(self.exact[p.index] for p in points) / len(points)

    def error(self, p: Drawn, inputs: Any, masses: Any) -> Any:
        shown = inputs.loaded(p.index, float(self.shown[p.index]), p.load)
        zero = inputs.zero(p.zero_key, float(_grams(p.zero)))
        return shown - zero - sum(masses[n] for n in p.load)

    def errors(self, inputs: Any, masses: Any) -> list[Any]:
        """Uncertain mean errors, zero load first."""
        single = {p.index: self.error(p, inputs, masses) for p in self.drawn}
        groups = [self.groups[load] for _, load in self.curve]
        return [0.0, *(sum(single[p.index] for p in g) / len(g) for g in groups)]


def _grams(units: int) -> Decimal:
    return Decimal(units).scaleb(-9)


Line = Callable[[Sequence[Any], Any], Any]


def _terminal(xs: Sequence[Fraction], _: Sequence[Fraction]) -> Line:
    return lambda e, x: e[-1] * _like(e, x / xs[-1])


def _zero_based(xs: Sequence[Fraction], es: Sequence[Fraction]) -> Line | None:
    def gap(pair: tuple[int, int]) -> Fraction:
        i, j = pair
        return abs(es[i] * xs[j] - es[j] * xs[i]) / (xs[i] + xs[j])

    best = _single(combinations(range(1, len(xs)), 2), gap)
    if best is None:
        return None
    i, j = best
    return lambda e, x: (e[i] + e[j]) * _like(e, x / (xs[i] + xs[j]))


def _independent(xs: Sequence[Fraction], es: Sequence[Fraction]) -> Line | None:
    def gap(triple: tuple[int, int, int]) -> Fraction:
        a, b, c = triple
        return abs(es[b] - es[a] - (es[c] - es[a]) * (xs[b] - xs[a]) / (xs[c] - xs[a]))

    best = _single(combinations(range(len(xs)), 3), gap)
    if best is None:
        return None
    a, b, c = best

    def line(e: Sequence[Any], x: Fraction) -> Any:
        def chord(at: Fraction) -> Any:
            return e[a] + (e[c] - e[a]) * _like(e, (at - xs[a]) / (xs[c] - xs[a]))

        return chord(x) + (e[b] - chord(xs[b])) * _like(e, Fraction(1, 2))

    return line


def _least_squares(xs: Sequence[Fraction], _: Sequence[Fraction]) -> Line:
    n, mean = len(xs), sum(xs) / len(xs)
    spread = sum((x - mean) ** 2 for x in xs)

    def line(e: Sequence[Any], x: Fraction) -> Any:
        slope = sum(e[j] * _like(e, (xs[j] - mean) / spread) for j in range(n))
        return sum(e) * _like(e, Fraction(1, n)) + slope * _like(e, x - mean)

    return line


def _like(errors: Sequence[Any], factor: Fraction) -> Any:
    """Exact beside fractions, a float beside uncertain numbers."""
    return factor if isinstance(errors[-1], Fraction) else float(factor)


def _single(candidates: Any, gap: Callable[[Any], Fraction]) -> Any:
    """The candidate of largest gap, if there is one and no other."""
    ranked = sorted(candidates, key=gap, reverse=True)
    if gap(ranked[0]) == 0 or (len(ranked) > 1 and gap(ranked[0]) == gap(ranked[1])):
        return None
    return ranked[0]


LINES = {
    "terminal_nonlinearity": _terminal,
    "zero_based_nonlinearity": _zero_based,
    "independent_nonlinearity": _independent,
    "least_squares_nonlinearity": _least_squares,
}


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data(), drawn=runs())
def test_budgets(gtc: Any, data: st.DataObject, drawn: list[Drawn]) -> None:
    """Point errors, the four non-linearities, and hysteresis."""
    sitting = data.draw(gtc.sittings)
    model = gtc.model(sitting)
    run = Run(model, drawn)
    points = tuple(
        Point(
            p.load,
            run.shown[p.index],
            None if p.own_zero is None else _grams(p.own_zero),
            p.direction,
        )
        for p in drawn
    )
    answer = evaluate(LinearityCheck(gtc.circumstances(sitting), points), gtc.terms(sitting))
    criteria = {criterion.name: criterion for criterion in answer.criteria}
    readings = [p.index for p in drawn]
    names = {name for p in drawn for name in p.load}

    def budget(criterion: Callable[[Any, Any], Any]) -> tuple[float, float, float]:
        return model.budget(readings, criterion, names, adjusted=sitting.after_adjustment)

    worst = max(drawn, key=lambda p: abs(run.exact[p.index]))
    for p, said in zip(drawn, answer.results["points"], strict=True):
        expected = budget(lambda x, m, p=p: run.error(p, x, m))
        assert said["error"] == run.exact[p.index]
        if p is worst:
            gtc.agrees(criteria["point_error"], expected, scale=100)
            assert criteria["point_error"].index == p.index
            assert said["expanded_uncertainty"] == criteria["point_error"].expanded_uncertainty

    for name, draw_line in LINES.items():
        found = criteria[name]
        if len(run.xs) < 4:
            assert found.value is None
            continue
        line = draw_line(run.xs, run.es)
        if line is None:
            continue
        off = [e - line(run.es, x) for x, e in zip(run.xs, run.es, strict=True)]
        place = max(range(len(off)), key=lambda i: abs(off[i]))
        assert found.value == off[place]
        if place == 0 and not off[0]:
            continue  # nothing departs
        x_at = run.xs[place]

        def departure(x: Any, m: Any, line: Line = line, at: Any = (place, x_at)) -> Any:
            e = run.errors(x, m)
            return e[at[0]] - line(e, at[1])

        gtc.agrees(found, budget(departure), scale=100)
    _check_hysteresis(gtc, budget, run, criteria["hysteresis"])


def _check_hysteresis(gtc: Any, budget: Any, run: Run, found: Any) -> None:
    """Mean down minus mean up, at loads read both ways, the highest left out."""
    turns = []
    for load, group in sorted(run.groups.items()):
        up = [p for p in group if p.direction == "up"]
        down = [p for p in group if p.direction == "down"]
        if up and down and load != max(run.groups):
            turns.append((run.mean(down) - run.mean(up), up, down))
    if not turns:
        assert found.value is None
        return
    size, up, down = max(turns, key=lambda turn: abs(turn[0]))
    assert found.value == size

    def turn(x: Any, m: Any) -> Any:
        falling = sum(run.error(p, x, m) for p in down) / len(down)
        return falling - sum(run.error(p, x, m) for p in up) / len(up)

    gtc.agrees(found, budget(turn), scale=100)
