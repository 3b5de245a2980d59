"""What each check sees of each fault of a balance: a table of faults against a simulated balance.

The table was computed for a balance of 50 g, d = 1 mg, and a simulated loss of 2 g out of 10 g
(20 %); no norm prints it. The balance below is physics only: true loads go in, indications come
out, unrounded; the three checks judge them. A check "sees" a fault when its criterion takes up at
least half of the largest error that the fault makes within the range, sees it "weakly" from 5 % of
that, and is "blind" when its criterion does not move (to 1e-9 g, 1e-7 percentage points).

Not simulated: repeatability and heater, for which there is no kind of check here.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import sqrt
from typing import Any

import pytest

from weighworthy_service.checks.linearity import evaluation as linearity
from weighworthy_service.checks.linearity.check import LinearityCheck, Point
from weighworthy_service.checks.simulated_loss import evaluation as simulated_loss
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.span import evaluation as span
from weighworthy_service.checks.span.check import Round, SpanCheck

MAX, START, END = 50.0, 10.0, 8.0
MASSES = {"A5": "5", "A2": "2", "A1": "1", "B2": "2"} | {f"W{m}": str(m) for m in range(10, 60, 10)}
PAN = ("A5", "A2", "A1", "B2")


@dataclass(frozen=True)
class Fault:
    """Physics of one balance; g. `late` is true for the second reading of a simulated loss."""

    error: Callable[[float, bool], float] = lambda load, late: 0.0
    zero_set: float = 0.0  # a zero that was off before the check and stays so
    unloading: float = 0.0  # left behind by a larger load before
    hot: float = 0.0  # only while the chamber is at temperature

    def reads(
        self, load: float, *, late: bool = False, down: bool = False, hot: bool = False
    ) -> Decimal:
        value = load + self.zero_set + self.error(load, late)
        value += self.unloading if down else 0.0
        value += self.hot if hot and late else 0.0
        return Decimal(f"{value:.15f}")


def _s_shape(load: float, _late: bool) -> float:
    x = load / MAX
    return 0.005 * 6 * sqrt(3) * x * (1 - x) * (1 - 2 * x)  # peaks of 5 mg at (1 ± 1/√3)/2


FAULTS = {
    "none": Fault(),
    "gain +1 %": Fault(lambda load, _: 0.01 * load),
    "gain -5 %": Fault(lambda load, _: -0.05 * load),
    "zero +20 mg": Fault(zero_set=0.020),
    "bow 5 mg": Fault(lambda load, _: 4 * 0.005 * load * (MAX - load) / MAX**2),
    "S 5 mg": Fault(_s_shape),
    "zero drift +3 mg": Fault(lambda _, late: 0.003 if late else 0.0),
    "gain drift +50 ppm": Fault(lambda load, late: 50e-6 * load if late else 0.0),
    "hysteresis +2 mg": Fault(unloading=0.002),
    "lift 5 mg": Fault(hot=-0.005),
}
# Largest error that the fault makes anywhere in the range, in g: what there is to be seen.
THERE_IS = {
    "gain +1 %": 0.5,
    "gain -5 %": 2.5,
    "zero +20 mg": 0.020,
    "bow 5 mg": 0.005,
    "S 5 mg": 0.005,
    "zero drift +3 mg": 0.003,
    "gain drift +50 ppm": 0.0025,
    "hysteresis +2 mg": 0.002,
    "lift 5 mg": 0.005,
}


@pytest.fixture(scope="module")
def check(make: Any) -> Mapping[str, Callable[..., Any]]:
    """The three checks on one simulated balance, with weights that are exactly known."""
    weights = [
        make.weight(name, mass, conventional_mass=mass, expanded_uncertainty="0")
        for name, mass in MASSES.items()
    ]
    around = make.circumstances(make.instrument("0.001", capacity="50"), weights)

    def spans(fault: Fault, *, zero: bool = True) -> Any:
        before = fault.reads(0.0) if zero else Decimal(0)
        done = SpanCheck(around, (Round("as-found", ("W50",), before, fault.reads(50.0)),))
        return span.evaluate(done, make.terms())

    def lines(fault: Fault, *, down: bool = False, zero: bool = True) -> Any:
        before = fault.reads(0.0) if zero else Decimal(0)

        def point(load: int, way: str) -> Point:
            shown = fault.reads(float(load), down=way == "down")
            return Point((f"W{load}",), shown, before, way)

        run = [point(load, "up") for load in range(10, 60, 10)]
        if down:
            run += [point(load, "down") for load in range(40, 0, -10)]
        return linearity.evaluate(LinearityCheck(around, tuple(run)), make.terms())

    def losses(fault: Fault, *, hot: bool = False, **more: Any) -> Any:
        done = SimulatedLossCheck(
            around,
            Loading(PAN, fault.reads(START, hot=hot)),
            Loading(PAN[:3], fault.reads(END, late=True, down=True, hot=hot)),
            heating=hot,
            **more,
        )
        return simulated_loss.evaluate(done, make.terms())

    return {"span": spans, "linearity": lines, "loss": losses}


def _value(answer: Any, name: str) -> float:
    (found,) = (c.value for c in answer.criteria if c.name == name)
    assert found is not None
    return float(found)


# Error of the loss in percentage points, cold and hot.
LOSS_ERRORS = [
    ("gain +1 %", 0.0, 0.0),
    ("gain -5 %", 0.0, 0.0),
    ("zero +20 mg", -0.0399, -0.0399),
    ("bow 5 mg", -0.0013, -0.0013),
    ("S 5 mg", -0.0076, -0.0076),
    ("zero drift +3 mg", -0.0300, -0.0300),
    ("gain drift +50 ppm", -0.0040, -0.0040),
    ("hysteresis +2 mg", -0.0200, -0.0200),
    ("lift 5 mg", 0.0, 0.0500),
]


@pytest.mark.parametrize(("name", "cold", "hot"), LOSS_ERRORS)
def test_error_of_the_loss(check, name: str, cold: float, hot: float) -> None:
    """The column δL, to half its last printed digit."""
    fault = FAULTS[name]
    assert _value(check["loss"](fault), "loss_error") == pytest.approx(cold, abs=0.00005)
    assert _value(check["loss"](fault, hot=True), "loss_error") == pytest.approx(hot, abs=0.00005)


def _sight(signal: float, there_is: float, nothing: float) -> str:
    if abs(signal) <= nothing:
        return "blind"
    share = abs(signal) / there_is
    return "yes" if share >= 0.5 else "weak" if share >= 0.05 else "practically blind"


# Fault: simulated loss cold, hot; span at capacity; linearity upwards: largest point error, then
# the departure from the line through zero and capacity; hysteresis with descending loads.
SIGHT = {
    "gain +1 %": ("blind", "blind", "yes", "yes", "blind", "blind"),
    "gain -5 %": ("blind", "blind", "yes", "yes", "blind", "blind"),
    # The zero is read before every load, so that a standing zero error is taken off.
    "zero +20 mg": ("weak", "weak", "blind", "blind", "blind", "blind"),
    "bow 5 mg": ("practically blind",) * 2 + ("blind", "yes", "yes", "blind"),
    "S 5 mg": ("weak", "weak", "blind", "yes", "yes", "blind"),
    "zero drift +3 mg": ("yes", "yes", "blind", "blind", "blind", "blind"),
    "gain drift +50 ppm": ("weak", "weak", "blind", "blind", "blind", "blind"),
    "hysteresis +2 mg": ("yes", "yes", "blind", "blind", "blind", "yes"),
    "lift 5 mg": ("blind", "yes", "blind", "blind", "blind", "blind"),
}


@pytest.mark.parametrize("name", SIGHT)
def test_what_each_check_sees(check, name: str) -> None:
    """Each cell of the table, as a share of what there is to be seen."""
    fault, there_is = FAULTS[name], THERE_IS[name]
    cold, hot, at_capacity, point, chord, turn = SIGHT[name]
    for heated, expected in ((False, cold), (True, hot)):
        percent = _value(check["loss"](fault, hot=heated), "loss_error")
        assert _sight(percent / 100 * START, there_is, 1e-8) == expected
    error = _value(check["span"](fault), "span_error")
    assert _sight(error, there_is, 1e-9) == at_capacity
    upwards = check["linearity"](fault)
    assert _sight(_value(upwards, "point_error"), there_is, 1e-9) == point
    assert _sight(_value(upwards, "terminal_nonlinearity"), there_is, 1e-9) == chord
    downwards = check["linearity"](fault, down=True)
    assert _sight(_value(downwards, "hysteresis"), there_is, 1e-9) == turn


def test_a_standing_zero_shows_where_the_zero_is_not_read(check) -> None:
    """The table's "only if zero not re-set" (span) and "intercept" (linearity)."""
    fault = FAULTS["zero +20 mg"]
    assert _value(check["span"](fault, zero=False), "span_error") == pytest.approx(0.020, abs=1e-12)
    answer = check["linearity"](fault, zero=False)
    errors = [float(point["error"]) for point in answer.results["points"]]
    assert errors == pytest.approx([0.020] * 5, abs=1e-12)


def test_a_sound_balance_shows_nothing(check) -> None:
    fault = FAULTS["none"]
    assert _value(check["loss"](fault), "loss_error") == 0
    assert _value(check["span"](fault), "span_error") == 0
    answer = check["linearity"](fault, down=True)
    assert {criterion.value for criterion in answer.criteria} == {0}


def test_a_bow_is_kept_apart_by_the_four_lines(check) -> None:
    """5 mg at mid-range is 4.8 mg at 20 g and 30 g: all of it from the chord, half from the free
    line."""
    answer = check["linearity"](FAULTS["bow 5 mg"])
    assert _value(answer, "terminal_nonlinearity") == pytest.approx(0.0048, abs=1e-12)
    assert abs(_value(answer, "independent_nonlinearity")) == pytest.approx(0.0024, abs=1e-12)


def test_scatter_of_a_single_run(make) -> None:
    """s = 1 mg: 100·√((1 - L)² + 1)·s/m = 0.0128 percentage points; one run cannot show it."""
    weights = [make.weight(name, MASSES[name], "OIML F1") for name in PAN]
    done = SimulatedLossCheck(
        make.circumstances(make.instrument("0.001", repeatability="0.001"), weights),
        Loading(PAN, Decimal(10)),
        Loading(PAN[:3], Decimal(8)),
    )
    (criterion,) = simulated_loss.evaluate(done, make.terms()).criteria
    (row,) = (row for row in criterion.budget if row.source == "repeatability")
    assert row.contribution == pytest.approx(0.0128, abs=0.00005)


@pytest.mark.parametrize("kappa", [0.0, 0.0005])
def test_eccentric_pan(check, kappa: float) -> None:
    """Off the centre, B reads κ·m_B too much until it is lifted off: (1 - L)·κ·m_B/m."""
    fault = Fault(lambda load, late: 0.0 if late else kappa * 2.0)
    expected = 100 * 0.8 * kappa * 2.0 / START
    assert _value(check["loss"](fault), "loss_error") == pytest.approx(
        expected, rel=1e-3, abs=1e-12
    )


@pytest.mark.parametrize("shown", ["25.0", "80.0", "125.0"])
def test_wrong_result_mode(make, shown: str) -> None:
    """Dry basis, rest and ratio of the same run instead of 20 %: seen from the display alone."""
    weights = [make.weight(name, MASSES[name], "OIML F1") for name in PAN]
    around = make.circumstances(make.instrument("0.001", loss_interval="0.1"), weights)
    done = SimulatedLossCheck(around, Loading(PAN), Loading(PAN[:3]), Decimal(shown))
    limits = {"loss_error": make.limit(within="0.2 %")}
    assert simulated_loss.evaluate(done, make.terms(limits)).verdict == "fail"
    both = SimulatedLossCheck(
        around, Loading(PAN, Decimal(10)), Loading(PAN[:3], Decimal(8)), Decimal(shown)
    )
    codes = {finding.code for finding in simulated_loss.evaluate(both, make.terms(limits)).findings}
    assert "displayed-disagrees" in codes


@pytest.mark.parametrize(
    ("removed", "percent"),
    # 10 g and a bow of 5 mg: -4·q/Max²·m·L(1 - L).
    [(0.1, -0.00072), (0.2, -0.00128), (0.5, -0.00200), (0.8, -0.00128)],
)
def test_curvature_by_share_removed(removed: float, percent: float) -> None:
    shown = [FAULTS["bow 5 mg"].reads(load) for load in (10.0, 10.0 * (1 - removed))]
    seen = float(100 * (shown[0] - shown[1]) / shown[0]) - 100 * removed
    assert seen == pytest.approx(percent, abs=0.000005)


def _line(rows: Sequence[Mapping[str, Any]], fault: str) -> Mapping[str, Any]:
    return next(row for row in rows if row["fault"] == fault)


@pytest.mark.parametrize(
    ("reveals", "name", "size"),
    [
        ("zero-change", "zero drift +3 mg", 0.003),
        ("common-zero", "zero +20 mg", 0.020),
        ("gain-change", "gain drift +50 ppm", 50e-6),
        ("departure-at-final", "hysteresis +2 mg", 0.002),
        ("curvature", "bow 5 mg", 0.005),
    ],
)
@pytest.mark.parametrize("basis", ["wet", "dry"])
def test_reveals_tells_the_same_sensitivities(
    check, *, reveals: str, name: str, size: float, basis: str
) -> None:
    """What an answer says a fault would do is what the simulated balance does (to second order)."""
    rows = check["loss"](FAULTS["none"], basis=basis).results["reveals"]
    expected = _value(check["loss"](FAULTS[name], basis=basis), "loss_error")
    assert _line(rows, reveals)["sensitivity"] * size == pytest.approx(expected, rel=0.003)


def test_reveals_says_that_gain_cancels(check) -> None:
    rows = check["loss"](FAULTS["none"]).results["reveals"]
    assert _line(rows, "constant-gain")["smallest"] is None
    assert "cancels" in _line(rows, "constant-gain")["message"]
    assert "cold" in _line(rows, "heat")["message"]
