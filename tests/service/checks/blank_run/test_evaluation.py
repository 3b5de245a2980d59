"""Changes of the zero in blank runs, judged."""

from decimal import Decimal
from fractions import Fraction
from math import sqrt
from typing import Any

import numpy as np
import pytest
from scipy import stats

from weighworthy_service.checks.blank_run.check import BlankRunCheck, PanRun, SeriesReading
from weighworthy_service.checks.blank_run.evaluation import evaluate
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.terms import AtLeast, Decision, Validity
from weighworthy_service.metrology.instrument import HotZeroCorrection

LIMITS = {"zero_change": "3 mg", "moisture_effect": "0.05 %"}


def grams(milligrams: int | str) -> Decimal:
    return Decimal(milligrams) / 1000


def series(*pairs: tuple[int, int | str]) -> tuple[SeriesReading, ...]:
    return tuple(SeriesReading(Decimal(at * 60), grams(shown)) for at, shown in pairs)


def run(initial: int | str, final: int | str, **more: Any) -> PanRun:
    """Hot and as long as usual, unless something else is said."""
    stated: dict[str, Any] = {"duration": Decimal(600), "chamber_temperature": Decimal(105)}
    return PanRun(grams(initial), grams(final), **{**stated, **more})


@pytest.fixture
def blank(make: Any) -> Any:
    """Judged blank runs of a 5 g sample on a balance with d = 1 mg and s = 0.8 mg of ten."""
    of_check = ("sample_mass", "pan", "on_pan", "usual_duration")

    def judged(runs: Any, limits: Any = None, /, *, balance: Any = None, **more: Any) -> Any:
        stated = {"pan": "empty", "sample_mass": Decimal(5), "usual_duration": Decimal(600)}
        mine = {**stated, **{k: more.pop(k) for k in of_check if k in more}}
        scatter = {"repeatability": "0.0008", "repeatability_observations": 10}
        here = make.circumstances([], make.balance(**(scatter if balance is None else balance)))
        return evaluate(BlankRunCheck(here, tuple(runs), **mine), make.terms(limits, **more))

    return judged


def codes(evaluation, severity=None):
    return [f.code for f in evaluation.findings if severity in (None, f.severity)]


def found(evaluation, code):
    return next(f for f in evaluation.findings if f.code == code)


def test_a_fall_reads_as_moisture(blank):
    # -2 mg in a sample of 5 g: 100·0.002/5 = 0.04 %.
    evaluation = blank([run(1, -1)], LIMITS)
    change, effect = evaluation.criteria
    assert (change.value, effect.value) == (Decimal("-0.002"), Fraction(4, 100))
    assert (change.unit, effect.unit, effect.load) == ("g", "%", 5)
    assert evaluation.verdict == evaluation.verdict_as_found == evaluation.verdict_as_left == "pass"
    # A rise hides moisture.
    assert blank([run(-1, 1)]).criteria[1].value == Fraction(-4, 100)


def test_the_worst_run_speaks_and_a_value_on_the_limit_is_inside(blank):
    evaluation = blank([run(0, -1), run(0, 3), run(0, -2)], LIMITS)
    assert [(c.index, c.verdict) for c in evaluation.criteria] == [(1, "pass"), (1, "fail")]
    assert evaluation.criteria[0].margin == 0
    assert [r["verdict"] for r in evaluation.results["runs"]] == ["pass", "fail", "pass"]
    assert evaluation.verdict == "fail"
    assert evaluation.usable is False


def test_one_sided_limits_choose_by_their_side(blank):
    evaluation = blank([run(0, 5), run(0, -2)], {"zero_change": {"lower": "-1 mg"}})
    assert (evaluation.criteria[0].index, evaluation.criteria[0].verdict) == (1, "fail")


def test_counts_of_d_refer_to_the_usual_mass(blank):
    # 2 d of 1 mg in 5 g: 100·0.002/5 = 0.04 %.
    evaluation = blank([run(0, -2)], {"moisture_effect": "2 d"})
    effect = evaluation.criteria[1]
    assert (effect.lower_limit, effect.upper_limit) == (Fraction(-4, 100), Fraction(4, 100))
    assert effect.verdict == "pass"


def test_the_budget_of_a_single_run(blank):
    # Two digitisations and s once: √(2·(1/√12)² + 0.8²) mg = √(0.1666667 + 0.64) mg.
    change, effect = blank([run(0, -2), run(0, -9)]).criteria
    u = sqrt(2 / 12 + 0.64) / 1000
    assert change.standard_uncertainty == pytest.approx(u, rel=1e-12)
    # ν = u⁴/(s⁴/9) = 0.8066667²/(0.64²/9)
    assert change.degrees_of_freedom == pytest.approx(0.80666666667**2 / (0.64**2 / 9))
    assert effect.standard_uncertainty == pytest.approx(100 * u / 5, rel=1e-12)


def test_what_all_runs_say_together(blank):
    """Mean and s against numpy, ν and k against scipy."""
    changes = [-3, -1, -4, -2, -5]
    evaluation = blank([run(0, c) for c in changes], LIMITS)
    results, mean = evaluation.results, evaluation.results["mean_change"]
    s = np.std(changes, ddof=1)
    assert float(results["standard_deviation"]) == pytest.approx(s / 1000, rel=1e-14)
    assert float(mean["value"]) == pytest.approx(np.mean(changes) / 1000, rel=1e-14)
    # s of the runs, 1.58 mg, is larger than 0.8 mg; rounding does not average out.
    u2 = 2 / 12 + s**2 / 5
    assert mean["standard_uncertainty"] == pytest.approx(sqrt(u2) / 1000, rel=1e-12)
    nu = u2**2 / ((s**2 / 5) ** 2 / 4)
    assert mean["degrees_of_freedom"] == pytest.approx(nu, rel=1e-12)
    assert mean["coverage_factor"] == pytest.approx(stats.t.ppf(stats.norm.cdf(2), nu), rel=1e-9)
    assert [row["source"] for row in mean["budget"]][1] == "scatter between runs"
    squares = sum(row["contribution"] ** 2 for row in mean["budget"])
    assert squares == pytest.approx(mean["standard_uncertainty"] ** 2, rel=1e-12)


def test_runs_that_agree_by_chance_keep_the_stated_repeatability(blank):
    # All -2 mg: s of the runs is 0, and 0.8 mg of ten observations is known of the balance.
    results = blank([run(0, -2)] * 4).results
    assert results["standard_deviation"] == 0
    scatter = results["mean_change"]["budget"][1]
    assert (scatter["source"], scatter["degrees_of_freedom"]) == ("repeatability", 9)
    assert scatter["contribution"] == pytest.approx(0.0008 / 2)


def test_one_run_has_no_scatter_of_its_own(blank):
    results = blank([run(0, -2)], balance={}).results
    assert results["standard_deviation"] is None
    assert [r["source"] for r in results["mean_change"]["budget"]] == [
        "digitisation of zero readings"
    ]


def test_effects_on_other_samples(blank):
    evaluation = blank([run(0, 1), run(0, -2)], balance={"capacity": "12"})
    effects = {str(e["sample_mass"]): e["moisture_effect"] for e in evaluation.results["effects"]}
    # 100·2 mg/m of the run that changed most; 5 g is the usual one, 20 g is above the capacity.
    assert effects == {
        "1": Fraction(2, 10),
        "2": Fraction(1, 10),
        "3": Fraction(2, 30),
        "10": Fraction(2, 100),
    }


def test_what_may_be_declared(blank):
    # By hand: runs of -3, -2, -4 mg: mean -3, s 1; of one more run √(1/6 + 1·(1 + 1/3)) = √1.5 =
    # 1.2247, up: 1.3 mg. The bound covers 4 mg and what two roundings hide, d.
    declare = blank([run(0, -3), run(0, -2), run(1, -3)]).results["declare"]
    assert declare["hot_zero_drift"] == Decimal("0.005")
    assert declare["hot_zero_correction"] == {
        "value": Fraction(-3, 1000),
        "standard_uncertainty": Decimal("0.0013"),
    }
    # k of ν = 4.5 is 2.74, so U = 2.0 mg, less than 3.
    assert declare["recommended"] == "hot_zero_correction"


@pytest.mark.parametrize(
    "runs",
    [
        [run(0, -3), run(0, -3)],  # too few
        [run(0, -3), run(0, 3), run(0, -1)],  # no common shift
    ],
)
def test_a_bound_is_declared_where_runs_do_not_show_one_shift(blank, runs):
    declare = blank(runs).results["declare"]
    assert declare["recommended"] == "hot_zero_drift"
    assert declare["hot_zero_drift"] == Decimal("0.004")


def test_rates(blank):
    evaluation = blank([run(0, -3), run(0, -3, duration=None)])
    rate = evaluation.results["runs"][0]
    # 3 mg in 10 min: 18 mg an hour.
    assert rate["drift_rate"] == Fraction(-18, 1000)
    u = evaluation.criteria[0].standard_uncertainty
    assert rate["drift_rate_uncertainty"] == pytest.approx(6 * u, rel=1e-12)
    assert evaluation.results["runs"][1]["drift_rate"] is None


def test_slopes_against_scipy(blank):
    at, shown = [0, 2, 5, 9, 12, 20], [0, -1, -7, -9, -15, -22]
    readings = series(*zip(at, shown, strict=True))
    slope = blank([run(0, -22, series=readings)]).results["runs"][0]
    line = stats.linregress([t / 60 for t in at], [i / 1000 for i in shown])
    assert float(slope["slope"]) == pytest.approx(line.slope, rel=1e-12)
    assert slope["slope_uncertainty"] == pytest.approx(line.stderr, rel=1e-12)
    assert slope["slope_degrees_of_freedom"] == 4


def test_a_slope_is_known_no_better_than_the_display_tells(blank):
    # All points on one line: √((d²/12)/Σ(t - t̄)²), Σ over 0, 0.5, 1 h: 0.5 h².
    slope = blank([run(0, -6, series=series((0, 0), (30, -3), (60, -6)))]).results["runs"][0]
    assert slope["slope_uncertainty"] == pytest.approx(0.001 / sqrt(12 * 0.5))
    two = blank([run(0, -6, series=series((0, 0), (60, -6)))]).results["runs"][0]
    assert (two["slope"], two["slope_degrees_of_freedom"]) == (Fraction(-6, 1000), None)
    assert blank([run(0, -6, series=series((0, 0)))]).results["runs"][0]["slope"] is None


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"chamber_temperature": None}, "heat-not-stated"),
        ({"chamber_temperature": Decimal("39.9")}, "run-not-hot"),
        ({"duration": Decimal(599)}, "run-short"),
        ({"duration": None}, "duration-not-stated"),
    ],
)
def test_a_run_that_is_no_full_one(blank, more, code):
    evaluation = blank([run(0, 0), run(0, 0, **more)])
    finding = found(evaluation, code)
    assert finding.severity == "warning"
    assert finding.field.startswith("/runs/1/")
    assert code not in codes(blank([run(0, 0, chamber_temperature=Decimal(40))] * 2))


def test_what_is_not_stated_is_told(blank):
    evaluation = blank([run(0, 0)], pan=None, usual_duration=None)
    assert codes(evaluation, "note") == ["pan-not-stated", "usual-duration-not-stated"]
    assert found(blank([run(0, 0)], pan="inert"), "pan-not-stated").field == "/on_pan"
    assert "pan-not-stated" not in codes(blank([run(0, 0)], pan="inert", on_pan="beads"))
    assert "repeatability-not-stated" in codes(blank([run(0, 0)], balance={}), "warning")


def test_a_pan_that_was_damp(blank):
    # Beyond the others by more than 2 d; at 2 d rounding may have made it.
    assert "first-run-falls-more" in codes(blank([run(0, -5), run(0, -2), run(0, -1)]))
    assert "first-run-falls-more" not in codes(blank([run(0, -4), run(0, -2), run(0, -1)]))
    assert "first-run-falls-more" not in codes(blank([run(0, 0), run(0, -9)]))
    assert "first-run-falls-more" not in codes(blank([run(0, -9)]))


def test_a_drift_that_goes_on(blank):
    falling = series(*((t, -t) for t in range(11)))
    assert "still-drifting" in codes(blank([run(0, -10, series=falling)]))
    # It fell in the first half alone.
    settled = series(*((t, -min(t, 4)) for t in range(11)))
    assert "still-drifting" not in codes(blank([run(0, -4, series=settled)]))
    # Less than a step of the display from the middle to the end.
    slow = series(*((t, str(Decimal(-t) / 10)) for t in range(11)))
    assert "still-drifting" not in codes(blank([run(0, -1, series=slow)]))
    # Up and down by 4 mg hides a fall by 2.
    noisy = series(*((t, -t // 3 + (4 if t % 2 else -4)) for t in range(11)))
    assert "still-drifting" not in codes(blank([run(0, -4, series=noisy)]))


def test_what_is_declared_of_the_balance_is_held_against_the_runs(blank):
    drift = {"repeatability": "0.0008", "hot_zero_drift": "0.003"}
    assert "hot-zero-drift-exceeded" not in codes(blank([run(0, -3)], balance=drift))
    assert "hot-zero-drift-exceeded" in codes(blank([run(0, 0), run(0, -4)], balance=drift))


def test_a_correction_is_not_taken_out_of_a_change(blank):
    known = HotZeroCorrection(Decimal("-0.002"), Decimal("0.0005"))
    balance = {"hot_zero_correction": known, "hot_zero_drift": "0.001"}
    evaluation = blank([run(0, -3)], balance=balance)
    assert evaluation.criteria[0].value == Decimal("-0.003")
    assert "correction-not-applied" in codes(evaluation, "note")
    # -3 less -2 is 1 mg, within the bound; -4 is not.
    assert "hot-zero-drift-exceeded" not in codes(evaluation)
    assert "hot-zero-drift-exceeded" in codes(blank([run(0, -4)], balance=balance))


def test_too_few_runs_forbid_a_pass_and_hide_no_fail(blank):
    three = Validity(runs=AtLeast(Decimal(3), "no-pass"))
    few = blank([run(0, 0)] * 2, LIMITS, validity=three)
    assert (few.verdict, few.verdict_if_valid) == ("void", "pass")
    assert "too-few-runs" in codes(few, "no-pass")
    assert blank([run(0, 0)] * 3, LIMITS, validity=three).verdict == "pass"
    assert blank([run(0, -9)] * 2, LIMITS, validity=three).verdict == "fail"


def test_readings_that_spoil_a_run(blank):
    assert blank([run(0, 0, stable=False)], LIMITS).verdict == "void"
    over = blank([run(0, 61_000)], LIMITS, balance={"capacity": "60"})
    assert "overload" in codes(over, "void")
    assert "indication-off-scale-interval" in codes(blank([run(0, "0.5")]), "warning")


def test_no_limit_no_verdict(blank):
    evaluation = blank([run(0, 0)])
    assert (evaluation.verdict, evaluation.usable) == (None, None)
    assert "nothing-judged" in codes(evaluation)


def test_what_it_shows_and_cannot_see(blank):
    lines = {line["fault"]: line for line in blank([run(0, 0)], LIMITS).results["reveals"]}
    # 3 mg + t(0.95, ν)·u with u = √0.8066667 mg and ν = 14.298.
    u, nu = sqrt(2 / 12 + 0.64), 0.80666666667**2 / (0.64**2 / 9)
    expected = (3 + stats.t.ppf(0.95, nu) * u) / 1000
    assert lines["hot-zero-drift"]["smallest"] == pytest.approx(expected, rel=1e-9)
    assert lines["convection"]["smallest"] == pytest.approx(expected, rel=1e-9)
    for unseen in ("span", "linearity", "heater", "buoyancy"):
        assert lines[unseen]["smallest"] is None
    cold = blank([run(0, 0, chamber_temperature=Decimal(25))], LIMITS).results["reveals"]
    assert cold[0]["smallest"] is None
    assert "no run is stated to have been hot" in cold[0]["message"]
    guarded = Decision("guarded", Decimal(3))
    nothing = blank([run(0, 0)], LIMITS, decision=guarded).results["reveals"]
    assert nothing[0]["smallest"] is None
    one_sided = blank([run(0, 0)], {"zero_change": {"upper": "3 mg"}}).results["reveals"]
    assert "where the indication rises, and never where it falls" in one_sided[0]["message"]


@pytest.mark.parametrize(
    ("more", "path", "code"),
    [
        ({"sample_mass": Decimal(61)}, ("sample_mass",), "out-of-range"),
        ({"on_pan": "beads"}, ("on_pan",), "pan-not-empty"),
        (
            {"runs": (run(0, 0, series=series((0, 0), (2, 0), (2, 1))),)},
            ("runs", 0, "series", 2, "at"),
            "time-order",
        ),
    ],
)
def test_what_makes_no_sense_is_refused(make, more, path, code):
    here = make.circumstances([], make.balance(capacity="60"))
    stated = {"runs": (run(0, 0),), "sample_mass": Decimal(5), "pan": "empty"}
    with pytest.raises(SenseError) as refused:
        BlankRunCheck(here, **{**stated, **more})
    assert [(flaw.path, flaw.code) for flaw in refused.value.flaws] == [(path, code)]


@pytest.mark.parametrize(
    ("read", "disagrees"),
    [
        (series((0, 0), (10, -2)), False),
        (series((1, 0), (9, -1)), False),
        (series((0, 5), (10, -2)), True),
        (series((0, 0), (10, 10)), True),
        (series((0, 0), (30, -2)), True),
    ],
)
def test_a_series_that_is_not_that_of_the_run(blank, read, disagrees):
    """The run begins at 0 mg and ends at -2 mg after 10 min."""
    evaluation = blank([run(0, -2, series=read)], LIMITS)
    assert ("series-disagrees" in codes(evaluation, "warning")) is disagrees
    assert evaluation.verdict == "pass"
