"""Sensitivities to causes, held against what an evaluation makes of readings that a cause moved.

Nothing is derived here: the cause is put into the readings as physics has it, and the check is
evaluated once more. All differences are exact; a loss is not linear, hence the small tolerance.
"""

from collections.abc import Callable, Iterable, Iterator
from copy import deepcopy
from decimal import Decimal
from math import inf, sqrt
from typing import Any

import pytest

from weighworthy_service.checks.causes import Cause, Sight, apart
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.profiles.finding import built_in, find_profile
from weighworthy_service.profiles.judging import read
from weighworthy_service.profiles.resolve import terms_for

NOMINAL = {"A2": Decimal(2), "A10": Decimal(10), "A20": Decimal(20), "A50": Decimal(50)}
CAPACITY = Decimal(60)
BALANCE = {
    "capacity": "60 g",
    "scale_interval": "1 mg",
    "repeatability": "0.6 mg",
    "repeatability_observations": 10,
}
WEIGHTS = {name: {"nominal": f"{n} g", "weight_class": "OIML F1"} for name, n in NOMINAL.items()}
SPAN = {
    "rounds": [
        {"load": ["A50"], "zero": "0.001 g", "indication": "50.012 g", "zero_after": "0.003 g"},
        {"load": ["A50"], "zero": "0.000 g", "indication": "50.014 g", "zero_after": "0.000 g"},
    ]
}
LINEARITY = {
    "points": [
        {"load": ["A2"], "zero": "0.001 g", "indication": "2.002 g", "direction": "up"},
        {"load": ["A10"], "indication": "10.004 g", "direction": "up"},
        {"load": ["A20", "A10"], "zero": "0.000 g", "indication": "30.009 g", "direction": "up"},
        {"load": ["A50"], "indication": "50.001 g", "direction": "up"},
        {"load": ["A20", "A10"], "indication": "30.011 g", "direction": "down"},
        {"load": ["A10"], "indication": "10.007 g", "direction": "down"},
    ]
}
LOSS = {
    "heating": True,
    "initial": {"load": ["A10", "A2"], "indication": "12.001 g"},
    "final": {"load": ["A10"], "indication": "9.992 g"},
}
REQUESTS = {
    "span": SPAN,
    "linearity": LINEARITY,
    "simulated-loss": LOSS,
    "simulated-loss, dry": {**LOSS, "basis": "dry"},
}
by_request = pytest.mark.parametrize("name", REQUESTS)
# So small that a loss is straight, and within the nine decimals of a request.
X = Decimal("0.000001")
# Of a loss whose readings are 0.1 % off, what is taken at the loads as stated is so much off, too.
AT_LOADS = 1.2e-2


def evaluated(name: str, request: dict[str, Any]) -> tuple[Kind, Any, Any, Evaluation]:
    kind = BY_SLUG[name.partition(",")[0]]
    whole = {"instrument": BALANCE, "weights": WEIGHTS, **request}
    asked, profile = read(kind, whole, lambda reference, _: find_profile(reference, built_in()))
    terms = terms_for(profile, kind.slug, asked.check.circumstances)
    return kind, asked.check, terms, kind.evaluate(asked.check, terms)


def sights(name: str) -> list[Sight]:
    kind, check, terms, evaluation = evaluated(name, REQUESTS[name])
    part = kind.part("causes")
    assert part is not None
    found: list[Sight] = list(part.sights(check, terms, evaluation))
    return found


def readings(request: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Loaded readings in the order in which they are taken."""
    if "initial" in request:
        yield from (request["initial"], request["final"])
    else:
        yield from request.get("rounds") or request["points"]


def moved(name: str, by: Callable[[int, dict[str, Any]], Decimal]) -> dict[str, float]:
    """How far each criterion moves when the cause moves each reading by so much."""
    request = deepcopy(REQUESTS[name])
    for index, reading in enumerate(readings(request)):
        shown = Decimal(reading["indication"].split()[0]) + by(index, reading)
        reading["indication"] = f"{shown:f} g"
    before, after = evaluated(name, REQUESTS[name])[3], evaluated(name, request)[3]
    then = {c.key: c for c in after.criteria}
    return {
        c.key: float(then[c.key].value) - float(c.value)  # type: ignore[arg-type]
        for c in before.criteria
        if c.value is not None and then[c.key].load == c.load
    }


def nominal(reading: dict[str, Any]) -> Decimal:
    return sum((NOMINAL[name] for name in reading["load"]), Decimal(0))


def bow(load: Decimal) -> Decimal:
    return round(4 * load / CAPACITY * (1 - load / CAPACITY), 3)


def held(found: Iterable[Sight], move: dict[str, float], rel: float = 1e-5) -> int:
    count = 0
    for sight in found:
        if sight.what is None and sight.criterion in move:
            expected = move[sight.criterion] / float(X)
            assert sight.least == pytest.approx(expected, rel=rel, abs=1e-6), sight
            assert sight.most == sight.least
            count += 1
    return count


def named(name: str, cause: str, about: str | None = None) -> list[Sight]:
    return [s for s in sights(name) if (s.cause.name, s.cause.about) == (cause, about)]


@by_request
def test_gain(name: str) -> None:
    move = moved(name, lambda _, reading: Decimal(reading["indication"].split()[0]) * X)
    # By so much of the reading here, of the mass there.
    assert held(named(name, "gain"), move, rel=1e-3) == sum(abs(m) > 1e-8 for m in move.values())


@by_request
def test_bow(name: str) -> None:
    move = moved(name, lambda _, reading: bow(nominal(reading)) * X)
    # The bow is rounded here to fit a request; in a loss it nearly cancels.
    assert held(named(name, "curvature"), move, rel=5e-2 if "loss" in name else 5e-3)


@pytest.mark.parametrize(("name", "of_wet"), [("simulated-loss", 1), ("simulated-loss, dry", 1.44)])
def test_bow_of_a_loss_by_hand(name: str, of_wet: float) -> None:
    """-4·m·L(1 - L)/Max² of a bow, L = 1/6, m = 12 g, in %; on dry basis (12/10)² of it."""
    by_hand = -400 * 12 * (1 / 6) * (5 / 6) / 60**2 * of_wet
    (found,) = named(name, "curvature")
    assert found.least == pytest.approx(by_hand, rel=1e-12)


@by_request
def test_each_weight(name: str) -> None:
    for weight in {name for reading in readings(REQUESTS[name]) for name in reading["load"]}:
        move = moved(name, lambda _, r, weight=weight: X if weight in r["load"] else Decimal(0))
        found = named(name, "weight", weight)
        assert held(found, move, rel=AT_LOADS) >= sum(abs(m) > 1e-8 for m in move.values())


@pytest.mark.parametrize("name", ["simulated-loss", "simulated-loss, dry"])
def test_of_a_loss(name: str) -> None:
    final = moved(name, lambda index, _: index * X)
    both = moved(name, lambda *_: X)
    larger = moved(name, lambda index, _: index * Decimal("9.992") * X)
    for cause in ("zero-drift", "departure", "hysteresis", "hot-zero-drift"):
        assert held(named(name, cause), final) == 1
    assert held(named(name, "common-zero"), both) == 1
    assert held(named(name, "gain-change"), larger) == 1
    # With every loading: the first reading once, the second twice; or, at least, the second once.
    each = moved(name, lambda index, _: (index + 1) * X)
    (sight,) = named(name, "zero-change")
    ends = sorted((final["loss_error"] / float(X), each["loss_error"] / float(X)))
    assert [sight.least, sight.most] == pytest.approx(ends, rel=1e-5)


def test_zero_with_every_loading_of_a_run() -> None:
    """Zeros before the first and the third point: loadings since then, 1, 2, 1, 2, 3, 4."""
    once = moved("linearity", lambda *_: X)
    (sight,) = (s for s in named("linearity", "zero-change") if s.criterion == "point_error")
    # The worst point, for its load, is the sixth.
    assert (sight.least, sight.most) == (1, 4)
    assert once["point_error"] == pytest.approx(float(X))
    (turn,) = (s for s in named("linearity", "zero-change") if s.criterion == "hysteresis")
    # 10 g: fourth less second loading; 30 g: third less first. Either way from -1 or 0 to 3.
    assert turn.least <= 0
    assert 2 <= turn.most <= 3


@by_request
def test_scatter_is_the_repeatability_of_the_budget(name: str) -> None:
    evaluation = evaluated(name, REQUESTS[name])[3]
    criteria = {c.key: c for c in evaluation.criteria}
    for sight in named(name, "scatter"):
        criterion = criteria[sight.criterion]
        (row,) = (r for r in criterion.budget if r.source == "repeatability")
        assert criterion.coverage_factor is not None
        reach = criterion.coverage_factor * abs(row.sensitivity)
        assert (sight.least, sight.most) == pytest.approx((-reach, reach))


def test_curve_by_least_squares() -> None:
    """Slope through zero of the mean errors, as numpy has it; masses are nominal here."""
    numpy = pytest.importorskip("numpy")
    loads = numpy.array([2.0, 10.0, 30.0, 50.0])
    # Errors in mg against zeros of 1, 1, 0, 0, 0, 0 mg; up and down of 10 g and 30 g as means.
    errors = numpy.array([1.0, (3 + 7) / 2, (9 + 11) / 2, 1.0]) / 1000
    (slope,), *_ = numpy.linalg.lstsq(loads[:, None], errors, rcond=None)
    (gain,) = (s for s in named("linearity", "gain") if s.what is not None)
    assert gain.value == pytest.approx(slope, rel=1e-12)
    shape = numpy.column_stack([loads, 4 * loads / 60 * (1 - loads / 60)])
    (_, size), *_ = numpy.linalg.lstsq(shape, errors, rcond=None)
    (curved,) = (s for s in named("linearity", "curvature") if s.what is not None)
    assert curved.value == pytest.approx(size, rel=1e-9)
    # Errors are independent here but for zeros: u² of the slope is the sum of (x/Σx²)²·u².
    assert 0 < gain.expanded < 2.5 * sqrt(2 * (0.6e-3**2 + 1e-6 / 6)) / 50


def sight(value: float, least: float, most: float, *, unsigned: bool = False) -> Sight:
    cause = Cause("scatter" if unsigned else "gain", "g", unsigned=unsigned)
    return Sight(cause, "any", value, 1.0, least, most)


@pytest.mark.parametrize(
    ("of", "size"),
    [
        (sight(5, 2, 2), (2.0, 3.0)),
        (sight(5, -2, -2), (-3.0, -2.0)),
        # 4 to 6 by once or twice; -0.5 to 1.5 by the same.
        (sight(5, 1, 2), (2.0, 6.0)),
        (sight(0.5, 1, 2), (-0.5, 1.5)),
        (sight(-5, 1, inf), (-6.0, 0.0)),
        (sight(5, -1, 1), (-inf, inf)),
        (sight(-5, -2, 2, unsigned=True), (2.0, inf)),
        (sight(0.5, -2, 2, unsigned=True), (0.0, inf)),
        (sight(-5, 2, 2, unsigned=True), (2.0, 3.0)),
    ],
)
def test_size(of: Sight, size: tuple[float, float]) -> None:
    assert of.size == pytest.approx(size)


def test_ends_that_touch_are_not_apart() -> None:
    assert not apart((0, 1), (1, 2))
    assert apart((0, 1), (1.1, 2))
