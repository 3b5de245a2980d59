"""Points, non-linearities and hysteresis of a linearity check, judged."""

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import pytest

from weighworthy_service.checks.linearity.evaluation import evaluate
from weighworthy_service.checks.terms import AtLeast, Validity

DIGIT = 0.001 / sqrt(12)
LOADS = ("10", "20", "40")


@pytest.fixture
def weights(make):
    certified = make.certified("W40", "40", "40", "0.0002", density="8000")
    return [make.weight("W10", "10"), make.weight("W20", "20"), certified]


@pytest.fixture
def run(make, weights):
    """A run at 10, 20, 40 g with the given errors in mg, judged."""

    def of(errors, limits=None, *, zeros=True, directions=(None,) * 9, **more):
        loads = [*LOADS, *reversed(LOADS)][: len(errors)]
        points = [
            make.point(
                f"W{load}", f"{int(load) + e / 1000:.4f}", "0" if zeros or not i else None, d
            )
            for i, (load, e, d) in enumerate(zip(loads, errors, directions, strict=False))
        ]
        circumstances = {k: more.pop(k) for k in ("instrument", "occasion") if k in more}
        return evaluate(
            make.linearity(points, weights, **circumstances), make.terms(limits, **more)
        )

    return of


def value(make, evaluation, key):
    found = make.criterion(evaluation, key).value
    return found if found is None else Fraction(found) * 1000


def test_the_four_nonlinearities_are_kept_apart(run, make):
    # Errors 0, 2, 3, 2 mg at 0, 10, 20, 40 g.
    evaluation = run([2, 3, 2])
    # terminal: slope 2/40; at 20 g 3 - 1 = 2
    assert value(make, evaluation, "terminal_nonlinearity") == 2
    # zero-based: slope (3 + 2)/60; 4/3 at 20 g and -4/3 at 40 g, the smaller load speaks
    assert value(make, evaluation, "zero_based_nonlinearity") == Fraction(4, 3)
    # independent: 1 + x/20; -1 at 0, 1 at 20, -1 at 40 g, zero load speaks
    assert value(make, evaluation, "independent_nonlinearity") == -1
    # least squares: 1 + 3x/70; at 20 g 3 - 13/7 = 8/7
    assert value(make, evaluation, "least_squares_nonlinearity") == Fraction(8, 7)
    loads = {k: v["load"] for k, v in evaluation.results["nonlinearity"].items()}
    assert loads == {"terminal": 20, "zero_based": 20, "independent": 0, "least_squares": 20}


def test_criteria_come_in_their_order_and_each_has_an_entry(run):
    evaluation = run([0])
    assert [(c.key, c.value) for c in evaluation.criteria] == [
        ("point_error", 0),
        ("terminal_nonlinearity", None),
        ("zero_based_nonlinearity", None),
        ("independent_nonlinearity", None),
        ("least_squares_nonlinearity", None),
        ("hysteresis", None),
    ]
    assert set(evaluation.results["nonlinearity"].values()) == {None}


BANDS = {"bands": {"10 g": "1 mg", "20 g": "2 mg", "40 g": "9 mg"}}


def test_every_point_is_judged_at_its_own_load(run, make):
    evaluation = run([1.5, 1, 8], {"point_error": BANDS})
    assert [p["verdict"] for p in evaluation.results["points"]] == ["fail", "pass", "pass"]
    assert [p["upper_limit"] for p in evaluation.results["points"]] == [
        Fraction(1, 1000),
        Fraction(2, 1000),
        Fraction(9, 1000),
    ]
    criterion = make.criterion(evaluation, "point_error")
    assert (criterion.index, criterion.load, criterion.verdict) == (0, 10, "fail")
    # The largest error is another point, and signed.
    assert evaluation.results["largest_error"] == {
        "value": Decimal("0.008"),
        "load": Decimal(40),
        "index": 2,
    }


@pytest.mark.parametrize(
    ("errors", "index"),
    [
        ([0.5, 1.8, 1], 1),  # margins 0.5, 0.1, 0.89
        ([0.9, 1.8, 1], 0),  # 0.1 and 0.1: request order
        ([-1.2, 2.5, 1], 1),  # -0.2 and -0.25
    ],
)
def test_among_equal_verdicts_the_smallest_margin_speaks(run, make, errors, index):
    assert make.criterion(run(errors, {"point_error": BANDS}), "point_error").index == index


def test_a_point_above_the_last_band_is_void(run, make):
    evaluation = run([0, 0, 0], {"point_error": {"bands": {"20 g": "1 mg"}}})
    assert make.findings(evaluation, "no-limit-for-load") == [("void", "/points/2")]
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "pass")


def test_a_maximum_is_judged_at_every_place(run, make):
    # Independent departures -1, 1/2, 1, -1 mg: the largest magnitude, at zero load, keeps a
    # limit of -2 mg to 0.75 mg, but 20 g does not.
    limit = {"independent_nonlinearity": {"lower": "-2 mg", "upper": "0.75 mg"}}
    evaluation = run([2, 3, 2], limit)
    criterion = make.criterion(evaluation, "independent_nonlinearity")
    assert (criterion.verdict, criterion.load) == ("fail", 20)
    assert criterion.value == Fraction(1, 1000)


def test_the_uncertainty_of_a_terminal_nonlinearity(run, make):
    balance = make.balance(repeatability="0.0006", repeatability_observations=7)
    evaluation = run([2, 3, 2], instrument=balance, occasion="after-adjustment")
    criterion = make.criterion(evaluation, "terminal_nonlinearity")
    # At 20 g of 40 g: sensitivities 1 and -1/2 of errors with readings and zeros of their own.
    both = sqrt(1 + 0.25)
    found = {row.source: row.contribution for row in criterion.budget}
    assert found == {
        "digitisation of loaded readings": pytest.approx(DIGIT * both),
        "digitisation of zero readings": pytest.approx(DIGIT * both),
        "repeatability": pytest.approx(0.0006 * both),
        # W20 of class F1 (0.25 mg) with -1; W40 of the certificate (0.1 mg) with +1/2.
        "reference weights W20": pytest.approx(0.00025 / sqrt(3)),
        "reference weights W40": pytest.approx(0.00005),
        "buoyancy of W20": pytest.approx(0.00025 / 4 / sqrt(3)),
        "buoyancy of W40": pytest.approx(0),
    }
    u4 = criterion.standard_uncertainty**4
    assert criterion.degrees_of_freedom == pytest.approx(u4 / ((0.0006 * both) ** 4 / 6))


def test_one_zero_for_all_points_cancels_in_part(run, make):
    criterion = make.criterion(run([2, 3, 2], zeros=False), "terminal_nonlinearity")
    row = make.row(criterion, "digitisation of zero readings")
    # -1 of the point at 20 g and +1/2 of that at 40 g are one input: -1/2.
    assert row.sensitivity == -0.5


UP_DOWN = ("up", "up", "up", "down", "down", "down")


def test_hysteresis_leaves_the_highest_load_out(run, make):
    # 10 g: 0 then 3; 20 g: 1 then 0; 40 g: 5 then 9 (left out)
    evaluation = run([0, 1, 5, 9, 0, 3], directions=UP_DOWN)
    assert value(make, evaluation, "hysteresis") == 3
    assert evaluation.results["hysteresis"] == [
        {"load": 10, "value": Fraction(3, 1000)},
        {"load": 20, "value": Fraction(-1, 1000)},
    ]


def test_in_the_hysteresis_only_the_readings_remain(run, make):
    evaluation = run([0, 1, 5, 9, 0, 3], directions=UP_DOWN, zeros=False)
    found = {r.source: r.contribution for r in make.criterion(evaluation, "hysteresis").budget}
    assert found == {"digitisation of loaded readings": pytest.approx(DIGIT * sqrt(2))}


def test_repeats_of_a_load_are_cycles_and_meet_in_the_curve(run):
    curve = run([0, 1, 5, 9, 0, 3]).results["curve"]
    assert [(m["load"], m["error"] * 1000, m["points"]) for m in curve] == [
        (10, Fraction(3, 2), 2),
        (20, Fraction(1, 2), 2),
        (40, 7, 2),
    ]


@pytest.mark.parametrize(
    "name", ["terminal_nonlinearity", "hysteresis", "independent_nonlinearity"]
)
def test_a_limited_criterion_that_cannot_be_computed_forbids_a_pass(run, make, name):
    limits = {"point_error": "9 mg", name: "9 mg"}
    evaluation = run([0, 0], limits)
    assert make.findings(evaluation, "criterion-missing") == [("no-pass", "/points")]
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "pass")
    assert run([0, 99], limits).verdict == "fail"
    assert run([0, 0], {**limits, name: make.limit("9 mg", when_present=True)}).verdict == "pass"


def test_too_few_points_forbid_a_pass(run, make):
    validity = Validity(points=AtLeast(Decimal(3), "no-pass"))
    # 10 and 20 g; then 10, 20 and 40 g.
    evaluation = run([0, 0], {"point_error": "1 mg"}, validity=validity)
    assert make.findings(evaluation, "too-few-points") == [("no-pass", "/points")]
    assert evaluation.verdict == "void"
    assert run([0, 0, 0], {"point_error": "1 mg"}, validity=validity).verdict == "pass"


def test_repeats_of_a_load_are_no_further_points(make, weights):
    validity = Validity(points=AtLeast(Decimal(3), "no-pass"))
    points = [make.point("W10", "10", "0") for _ in range(5)]
    terms = make.terms({"point_error": "1 mg"}, validity=validity)
    assert evaluate(make.linearity(points, weights), terms).verdict == "void"


def test_the_verdict_speaks_for_as_found_and_as_left(run):
    evaluation = run([0, 0, 0], {"point_error": "1 mg"})
    said = evaluation.verdict, evaluation.verdict_as_found, evaluation.verdict_as_left
    assert said == ("pass", "pass", "pass")
    assert evaluation.usable is True


def test_every_reading_is_looked_at(run, make):
    evaluation = run([0, 0.5, 0], instrument=make.balance(capacity="30"))
    assert make.findings(evaluation, "overload") == [("void", "/points/2/indication")]
    off = make.findings(evaluation, "indication-off-scale-interval")
    assert off == [("warning", "/points/1/indication")]


def test_built_up_points_ask_for_eccentricity(make, weights):
    def of(load):
        check = make.linearity([make.point(load, "30", "0")], weights)
        return make.findings(evaluate(check, make.terms()), "eccentricity-not-stated")

    assert of("W10 W20") == [("note", "/instrument/eccentricity")]
    assert of("W40") == []


def test_nothing_judged_is_never_a_pass(run, make):
    evaluation = run([0, 0, 0])
    assert (evaluation.verdict, evaluation.usable) == (None, None)
    assert make.findings(evaluation, "nothing-judged") == [("warning", None)]
