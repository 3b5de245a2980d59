"""Checks of every sensible sort: tiny and huge masses, odd limits, loads of zero error."""

import re
from decimal import Decimal
from types import SimpleNamespace

import pytest
from hypothesis import strategies as st
from marshmallow import ValidationError

from weighworthy_service.checks import registry
from weighworthy_service.checks.blank_run.check import BlankRunCheck, PanRun, SeriesReading
from weighworthy_service.checks.circumstances import OCCASIONS, Circumstances
from weighworthy_service.checks.eccentricity.check import EccentricityCheck, PlacedAt
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.heater.check import (
    Correction,
    HeaterCheck,
    Probe,
    SetPoint,
    TimedTemperature,
)
from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.reference_material.check import (
    EarlierSpread,
    Material,
    MaterialRun,
    ReferenceMaterialCheck,
)
from weighworthy_service.checks.repeatability.check import Placing, RepeatabilityCheck
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.terms import (
    AtLeast,
    Decision,
    LimitInForce,
    ProfileIdentity,
    ScatterShare,
    StartWindow,
    Terms,
    Validity,
    WeightShare,
)
from weighworthy_service.metrology.buoyancy import Environment
from weighworthy_service.metrology.instrument import Eccentricity, HotZeroCorrection, Instrument
from weighworthy_service.metrology.limits import Amount, Band, Limit
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.weights import ReferenceWeight, class_limits

SEVERITIES = ("void", "no-pass", "warning", "note")
KINDS = {kind.slug: kind for kind in registry.KINDS}


def maybe(strategy):
    return st.none() | strategy


def numbers(low=0, high=10**12 - 1):
    """A number as a request may write it: up to 12 digits before the point and 9 after it."""
    whole = st.integers(low, high) | st.integers(low, min(high, 250))
    parts = st.tuples(whole, st.integers(0, 10**9 - 1), st.integers(0, 9))
    return parts.map(lambda p: EXACT.add(p[0], Decimal(p[1] % 10 ** p[2]).scaleb(-p[2])))


UNITS = st.sampled_from([Decimal("1e-6"), Decimal("1e-3"), Decimal(1), Decimal(1), Decimal("1e3")])
MASSES = st.builds(EXACT.multiply, numbers(), UNITS)
POSITIVE = MASSES.filter(bool)
SIGNED = st.builds(EXACT.multiply, MASSES, st.sampled_from([Decimal(1), Decimal(-1)]))
BENCH = st.integers(0, 250_000).map(lambda n: Decimal(n).scaleb(-3))
READINGS = BENCH | BENCH | SIGNED
CLASSED = [key for key in class_limits() if key[1] <= 200]


@st.composite
def weights(draw, name):
    stated = {"drift": draw(maybe(MASSES)), "density": draw(maybe(st.just(Decimal(7850))))}
    if draw(st.booleans()):
        weight_class, nominal = draw(st.sampled_from(CLASSED))
        return ReferenceWeight(name, nominal, weight_class, **stated)
    nominal = draw(POSITIVE)
    # In thousandths, where a request can still write the mass: it has 15 decimals of a gram.
    fits = nominal.as_tuple().exponent >= -12
    off = draw(st.integers(-100, 100)) if fits and draw(st.booleans()) else 0
    mass = EXACT.multiply(nominal, EXACT.add(Decimal(1), Decimal(off).scaleb(-3)))
    factor = draw(maybe(numbers().filter(bool)))
    # Up to a tenth of the nominal mass; above, the uncertainty is refused as a wrong unit.
    expanded = EXACT.multiply(nominal, Decimal(draw(st.integers(1, 1000))).scaleb(-4))
    return ReferenceWeight(name, nominal, None, mass, expanded, factor, **stated)


@st.composite
def instruments(draw):
    interval = st.sampled_from([Decimal("0.001"), Decimal("0.0001"), Decimal("0.002")])
    d = draw(interval | interval | POSITIVE)
    s = draw(maybe(MASSES))
    # What no balance can be is refused: e below d, d or s that fill the capacity.
    beyond = draw(maybe(POSITIVE))
    return Instrument(
        scale_interval=d,
        capacity=beyond and EXACT.add(max(d, s or d), beyond),
        verification_interval=draw(maybe(st.integers(1, 100).map(lambda n: EXACT.multiply(d, n)))),
        loss_interval=draw(st.just(Decimal("0.01")) | numbers().filter(bool)),
        loss_rounding=draw(st.sampled_from(["nearest", "down"])),
        repeatability=s,
        repeatability_observations=draw(maybe(st.integers(2, 10_000))),
        eccentricity=draw(maybe(st.builds(Eccentricity, MASSES, POSITIVE))),
        hot_zero_drift=draw(maybe(MASSES)),
        hot_zero_correction=draw(maybe(st.builds(HotZeroCorrection, SIGNED, MASSES))),
    )


@st.composite
def circumstances(draw):
    names = [f"W{i}" for i in range(draw(st.integers(1, 4)))]
    air = st.builds(
        Environment,
        maybe(st.integers(0, 50).map(Decimal)),
        maybe(st.integers(0, 100).map(Decimal)),
        maybe(st.integers(500, 1200).map(Decimal)),
    )
    return Circumstances(
        instrument=draw(instruments()),
        weights={name: draw(weights(name)) for name in names},
        environment=draw(air),
        warm_up=draw(maybe(numbers())),
        occasion=draw(st.sampled_from(OCCASIONS)),
    )


def loads(here):
    names = st.sampled_from(sorted(here.weights))
    return st.lists(names, min_size=1, max_size=3, unique=True).map(tuple)


STABLE = st.sampled_from([None, None, True, False])


@st.composite
def spans(draw, here=None):
    here = here or draw(circumstances())
    adjusted = draw(st.integers(0, 3))
    judged = st.tuples(loads(here), READINGS, READINGS, maybe(READINGS), STABLE)
    rounds = [Round("as-found", *r) for r in draw(st.lists(judged, max_size=3))]
    rounds += [Round("adjustment")] * (adjusted % 3)
    rounds += [Round("as-left", *r) for r in draw(st.lists(judged, max_size=3))]
    if all(r.stage == "adjustment" for r in rounds):
        rounds.append(Round("as-left", *draw(judged)))
    return SpanCheck(here, tuple(rounds))


@st.composite
def linearities(draw, here=None):
    here = here or draw(circumstances())
    directions = st.sampled_from([None, "up", "down"])
    point = st.builds(Point, loads(here), READINGS, maybe(READINGS), directions, STABLE)
    points = draw(st.lists(point, min_size=1, max_size=8))
    first = Point(points[0].load, points[0].indication, draw(READINGS), points[0].direction)
    return LinearityCheck(here, (first, *points[1:]))


@st.composite
def losses(draw, here=None):
    here = here or draw(circumstances())
    shown = draw(st.booleans())
    chamber = maybe(st.integers(10, 200).map(Decimal))
    initial = Loading(
        draw(loads(here)), None if shown else draw(POSITIVE), draw(chamber), draw(STABLE)
    )
    final = Loading(draw(loads(here)), None if shown else draw(POSITIVE), draw(chamber))
    displayed = draw(numbers()) if shown else draw(maybe(numbers()))
    shift = here.instrument.hot_zero_correction
    dry = shown or shift is None or final.indication > shift.value
    basis = draw(st.sampled_from(["wet", "dry"])) if dry else "wet"
    heating = draw(st.sampled_from([None, True, False]))
    return SimulatedLossCheck(here, initial, final, displayed, basis, heating)


TEMPERATURES = st.integers(-500, 5000).map(lambda n: Decimal(n).scaleb(-1))
DEGREES = numbers(high=9).filter(bool)


@st.composite
def heaters(draw, here=None):
    here = here or draw(circumstances())
    ends = sorted(draw(st.sets(TEMPERATURES, max_size=5)))
    corrections = [Correction(at, draw(numbers(-9, 9))) for at in ends]
    probe = Probe(
        interval=draw(DEGREES),
        expanded_uncertainty=draw(DEGREES),
        corrections=tuple(corrections),
        coverage_factor=draw(maybe(DEGREES)),
        drift=draw(maybe(numbers(high=9))),
        immersion_allowance=draw(maybe(numbers(high=9))),
    )
    near = st.integers(-20, 20).map(lambda n: Decimal(n).scaleb(-1))

    def point():
        set_ = draw(TEMPERATURES)
        around = [EXACT.add(set_, off) for off in draw(st.lists(near, min_size=1, max_size=50))]
        times = sorted(draw(st.sets(st.integers(0, 900), max_size=6)))
        series = [TimedTemperature(Decimal(t), EXACT.add(set_, draw(near))) for t in times]
        stated = draw(maybe(numbers(high=900)))
        return SetPoint(
            set_, tuple(around), draw(maybe(TEMPERATURES)), stated, tuple(series), draw(STABLE)
        )

    points = [point() for _ in range(draw(st.integers(1, 4)))]
    band, step, shown = draw(DEGREES), draw(DEGREES), draw(maybe(DEGREES))
    return HeaterCheck(here, probe, tuple(points), band, step, shown, draw(maybe(st.just("pan"))))


@st.composite
def blank_runs(draw, here=None):
    here = here or draw(circumstances())

    def run():
        times = sorted(draw(st.sets(st.integers(0, 900), max_size=12)))
        series = [SeriesReading(Decimal(t), draw(READINGS)) for t in times]
        lasted, chamber = draw(maybe(POSITIVE)), draw(maybe(TEMPERATURES))
        return PanRun(draw(READINGS), draw(READINGS), lasted, chamber, draw(STABLE), tuple(series))

    runs = [run() for _ in range(draw(st.integers(1, 4)))]
    most = here.instrument.capacity
    mass = draw(POSITIVE if most is None else POSITIVE.filter(lambda m: m <= most))
    pan = draw(st.sampled_from([None, "empty", "inert"]))
    return BlankRunCheck(here, tuple(runs), mass, pan, usual_duration=draw(maybe(POSITIVE)))


@st.composite
def reference_materials(draw, here=None):
    here = here or draw(circumstances())
    basis = draw(st.sampled_from(["wet", "dry"]))
    weighed = st.builds(MaterialRun, POSITIVE, POSITIVE, maybe(READINGS), STABLE)
    shown = st.builds(MaterialRun, displayed_loss=READINGS, stable=STABLE)
    known = here.instrument.loss_interval is not None
    runs = draw(st.lists(weighed | shown if known else weighed, min_size=1, max_size=6))
    of = draw(st.sampled_from([None, "expanded_uncertainty", "standard_uncertainty"]))
    stated = {} if of is None else {of: draw(DEGREES)}
    if of == "expanded_uncertainty":
        stated["coverage_factor"] = draw(maybe(DEGREES))
    material = Material(draw(numbers(high=99).filter(bool)), **stated)
    spread = st.builds(EarlierSpread, DEGREES, st.integers(2, 10_000))
    return ReferenceMaterialCheck(here, material, tuple(runs), basis, draw(maybe(spread)))


@st.composite
def repeatabilities(draw, here=None):
    here = here or draw(circumstances())
    readings = draw(st.sampled_from([READINGS, st.integers(0, 3).map(Decimal)]))
    placing = st.builds(Placing, readings, maybe(READINGS), STABLE)
    placings = draw(st.lists(placing, min_size=2, max_size=12))
    return RepeatabilityCheck(here, draw(loads(here)), tuple(placings))


@st.composite
def eccentricities(draw, here=None):
    here = here or draw(circumstances())
    position = st.sampled_from(["centre", "Center", "front", "back", "left of it"])
    placing = st.builds(PlacedAt, position, READINGS, maybe(READINGS), STABLE)
    placings = draw(st.lists(placing, min_size=1, max_size=8))
    placings += [PlacedAt("centre", draw(READINGS)), PlacedAt("right", draw(READINGS))]
    return EccentricityCheck(here, draw(loads(here)), tuple(draw(st.permutations(placings))))


@st.composite
def shaken(draw, kind):
    """Of a kind without a strategy here: its example with last digits that are other ones."""
    request = kind.example["request"]
    own = kind.form.fields.keys() - CheckForm().fields.keys() - {"check"}
    steps = st.integers(-3, 3) | st.integers(-40, 40)

    def other(said):
        if isinstance(said, dict):
            return {name: other(below) for name, below in said.items()}
        if isinstance(said, list):
            return [other(below) for below in said]
        number = re.match(r"-?[0-9]+(\.[0-9]+)?(?= )", said) if isinstance(said, str) else None
        if number is None:
            return said
        value = Decimal(number[0])
        value += draw(steps) * Decimal(1).scaleb(value.as_tuple().exponent)
        return f"{value:f}{said[number.end() :]}"

    asked = {name: other(said) if name in own else said for name, said in request.items()}
    try:
        return kind.form.load(asked).check
    except (SenseError, ValidationError):
        return kind.form.load(request).check


@st.composite
def limits(draw, criterion, depth=1):
    if criterion.unit == "%":
        units = ["%", "d", "e"]
    elif criterion.unit in ("K", "s"):
        units = {"K": ["K"], "s": ["s", "min", "h"]}[criterion.unit]
    else:
        units = ["g", "mg", "ug", "d", "e", "% of capacity"]
        units += ["% of load"] if criterion.has_load else []
    amount = st.builds(Amount, numbers(high=999), st.sampled_from(units))
    form = draw(st.sampled_from(["within", "sides", "lower", "upper", "bands", "of"]))
    present = draw(st.booleans())
    if form == "within" or (form in ("bands", "of") and not depth):
        return Limit(within=draw(amount.filter(lambda a: a.number)), when_present=present)
    if form == "bands" and criterion.on_pan and depth:
        ends = [Amount(n, "g") for n in sorted(draw(st.sets(numbers(1, 999), min_size=1)))]
        parts = [Band(end, draw(limits(criterion, 0))) for end in ends[:3]]
        return Limit(bands=tuple(parts), when_present=present)
    if form == "of" and depth:
        parts = tuple(draw(st.lists(limits(criterion, 0), min_size=2, max_size=3)))
        return Limit(**{draw(st.sampled_from(["smaller_of", "larger_of"])): parts})
    low = draw(amount)
    low = Amount(EXACT.minus(low.number), low.unit)
    sides = {"lower": low, "upper": draw(amount)}
    wanted = sides if form not in sides else {form: sides[form]}
    return Limit(**wanted, when_present=present)


@st.composite
def decisions(draw):
    rule = draw(st.sampled_from(["simple", "guarded", "four-way"]))
    coverage = draw(st.sampled_from([Decimal(c) for c in ("50", "95", "95.45", "99.999999999")]))
    if rule != "simple":
        return Decision(rule, draw(numbers(high=3)), coverage)
    rounding = draw(st.sampled_from(["absolute", "rounding"]))
    place = draw(maybe(numbers(high=9).filter(bool))) if rounding == "rounding" else None
    return Decision(rule, coverage=coverage, rounding=rounding, rounding_to=place)


@st.composite
def terms(draw, criteria, decision=None):
    severity = maybe(st.sampled_from(SEVERITIES))
    required = maybe(st.builds(AtLeast, numbers(high=9), st.sampled_from(SEVERITIES)))
    share = numbers(high=9).filter(bool)
    scatter = st.builds(ScatterShare, share, numbers(high=9), st.integers(2, 20), st.just("void"))
    validity = Validity(
        **{
            name: draw(required)
            for name in ("warm_up", "rounds", "points", "placings", "runs", "set_points")
        },
        **{name: draw(severity) for name in ("weights_in_date", "weights_in_class", "stable")},
        weights_at_most=draw(
            maybe(st.builds(WeightShare, st.just(1), st.integers(1, 9), st.just("void")))
        ),
        scatter_at_most=draw(maybe(scatter)),
        uncertainty_within_tolerance=draw(severity),
    )
    return Terms(
        ProfileIdentity("kestrel-mill", "1", "sha256:0"),
        limits={
            c.name: LimitInForce(limit, "/rules/0")
            for c in criteria
            if (limit := draw(maybe(limits(c)))) is not None
        },
        decision=draw(decision or decisions()),
        validity=validity,
        start_window=draw(maybe(st.builds(StartWindow, POSITIVE, MASSES))),
        weights_correlation=draw(st.sampled_from(["by-sign", "independent", "worst"])),
    )


@pytest.fixture(scope="session")
def sensible() -> SimpleNamespace:
    """Strategies: `check(kind)`, `terms(kind)`, and their parts."""
    checks = {
        "span": spans,
        "linearity": linearities,
        "simulated-loss": losses,
        "repeatability": repeatabilities,
        "heater": heaters,
        "eccentricity": eccentricities,
        "blank-run": blank_runs,
        "reference-material": reference_materials,
    }
    return SimpleNamespace(
        check=lambda kind: checks[kind]() if kind in checks else shaken(KINDS[kind]),
        terms=lambda kind, **more: terms(KINDS[kind].criteria, **more),
        evaluate=lambda kind, check, of: KINDS[kind].evaluate(check, of),
        numbers=numbers,
        readings=READINGS,
        positive=POSITIVE,
        decisions=decisions,
        losses=losses,
        spans=spans,
        linearities=linearities,
        circumstances=circumstances,
    )
