"""What the curve of a linearity check shows of causes; see `checks.causes`."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from math import inf
from typing import Final

from weighworthy_service.checks.causes import Cause, Dependence, Sight, of_criterion
from weighworthy_service.checks.contributions import Effects
from weighworthy_service.checks.linearity.check import LinearityCheck
from weighworthy_service.checks.linearity.curve import (
    LINES,
    Departure,
    PointRead,
    departures,
    hysteresis,
    read_points,
)
from weighworthy_service.checks.linearity.curve_sums import Curve, CurveSum
from weighworthy_service.checks.linearity.evaluation import HYSTERESIS, NONLINEARITIES, POINT_ERROR
from weighworthy_service.checks.outcome import Criterion, Evaluation
from weighworthy_service.checks.terms import Terms

SEES: Final = ("gain", "departure", "curvature", "hysteresis", "zero-change", "weight")


def sights(check: LinearityCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """Each criterion at the place that it was picked for; the rest by all points together."""
    points = read_points(check)
    curve = Curve(check, terms, points)
    for sight in _of_criteria(check, evaluation, points, curve):
        yield replace(sight, picked=True)
    yield from _by_all(check, curve)


def _of_criteria(
    check: LinearityCheck, evaluation: Evaluation, points: Sequence[PointRead], curve: Curve
) -> Iterator[Sight]:
    heaviest = max(p.load for p in points)
    by_name = {criterion.name: criterion for criterion in evaluation.criteria}
    of_point = by_name[POINT_ERROR.name]
    at = points[of_point.index or 0]
    yield from _depends(check, at.effects).of(of_point, after=0)
    others = [Cause("departure", "g", loads=(at.load,)), _drift(f"points/{at.index}")]
    if at.direction == "down":
        others.append(_turned(heaviest, at.load))
    for cause in others:
        for sight in of_criterion(of_point, cause, 1):
            yield replace(sight, after=0)
    for line, name in NONLINEARITIES.items():
        places = departures(curve.means, LINES[line]) or []
        yield from _of_place(check, by_name[name.name], places)
    turn = by_name[HYSTERESIS.name]
    yield from _of_place(check, turn, hysteresis(points))
    if turn.load is not None:
        yield from of_criterion(turn, _turned(heaviest, turn.load), 1)


def asked(check: LinearityCheck, terms: Terms, cause: Cause) -> Sight | None:
    """What the curve says of an error, or of a departure from a straight line, at loads of it.

    Of a `departure` at one load: that from the line through zero and all other loads; at two, as
    of a simulated loss: that of the second from the line through zero and the first. `error`: at
    its load. A `hysteresis` it bounds where its heaviest load was no lighter than the first one.
    """
    points = read_points(check)
    if cause.name == "hysteresis":
        return _bounding(check, terms, points, cause)
    curve = Curve(check, terms, points)
    found: CurveSum | None = None
    what = ""
    match cause.name, cause.loads:
        case "error", (load,):
            found, what = curve.at(load), f"the curve at {load:f} g"
        case "departure", (load,):
            found, what = curve.from_others(load), f"{load:f} g beside the line of all others"
        case "departure", (initial, final):
            found = curve.between(initial, final)
            what = f"the curve from {initial:f} g to {final:f} g"
    return None if found is None else curve.sight(cause, found, what)


def _bounding(
    check: LinearityCheck, terms: Terms, points: Sequence[PointRead], cause: Cause
) -> Sight | None:
    """After a heavier load a hysteresis is no smaller, at the load where it shows most."""
    turns = hysteresis(points)
    if not turns or max(p.load for p in points) < cause.loads[0]:
        return None
    most = max(turns, key=lambda turn: abs(turn.value))
    means, per = most.parts()
    found = CurveSum([(Fraction(c, per), mean) for c, mean in means])
    sight = Curve(check, terms, points).sight(cause, found, f"down minus up at {most.load:f} g")
    return replace(sight, criterion=HYSTERESIS.name, most=inf)


def _depends(check: LinearityCheck, effects: Effects) -> Dependence:
    capacity, per = check.circumstances.instrument.capacity, effects.per
    times = _loadings(check)
    return Dependence(
        tuple((float(r.nominal), c / per, times[r.key]) for r, c in effects.readings.items()),
        {name: c / per for name, c in effects.weights.items() if c},
        None if capacity is None else float(capacity),
    )


def _loadings(check: LinearityCheck) -> dict[str, int]:
    """Of each point, by the key of its reading: loadings since the zero that it goes with."""
    times, count = {}, 0
    for i, point in enumerate(check.points):
        count = 1 if point.zero is not None else count + 1
        times[f"point {i}"] = count
    return times


def _of_place(
    check: LinearityCheck, criterion: Criterion, places: Sequence[Departure]
) -> Iterator[Sight]:
    place = next((p for p in places if p.load == criterion.load), None)
    if place is None:
        return
    yield from _depends(check, place.effects()).of(criterion, after=0)
    yield from of_criterion(criterion, _drift(criterion.name), 1)
    if criterion.name == HYSTERESIS.name:
        return
    yield from of_criterion(criterion, Cause("departure", "g", loads=(place.load,)), 1)
    effects = place.effects()
    down = {f"point {i}" for i, p in enumerate(check.points) if p.direction == "down"}
    reach = sum(abs(c) for r, c in effects.readings.items() if r.key in down) / effects.per
    heaviest = max(reading.nominal for reading in effects.readings)
    yield from of_criterion(criterion, _turned(heaviest, place.load), -reach, reach)


def _drift(place: str) -> Cause:
    return Cause("zero-drift", "g", only=place)


def _turned(heaviest: Decimal, load: Decimal) -> Cause:
    return Cause("hysteresis", "g", loads=(heaviest, load))


def _by_all(check: LinearityCheck, curve: Curve) -> Iterator[Sight]:
    """Least squares through zero over the whole curve, of one cause each, all others absent."""
    means = curve.means
    used = dict.fromkeys(name for p in check.points for name in p.load)
    # All but a bow, of which the gain is taken out, speak of the balance as it was adjusted then.
    shapes = [(Cause("gain", "1", after=0), [m.mass for m in means], "the slope of all points")]
    for name in used:
        share = [-Fraction(m.effects.weights.get(name, 0), m.effects.per) for m in means]
        shapes.append((Cause("weight", "g", about=name), share, f"all points with {name}"))
    if all(p.zero is not None for p in check.points):
        zero = Cause("zero-change", "g")
        shapes.append((zero, [Fraction(1)] * len(means), "the mean of all points"))
    for cause, shape, what in shapes:
        yield replace(curve.fitted(cause, shape, what), after=0)
    capacity = check.circumstances.instrument.capacity
    if capacity is not None and any(bow := curve.bow(capacity)):
        yield curve.fitted(Cause("curvature", "g"), bow, "the bow of all points")
