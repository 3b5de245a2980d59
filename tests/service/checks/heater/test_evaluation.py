"""Errors, settling, spread and display of a heater check, judged."""

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import pytest

from weighworthy_service.checks.terms import AtLeast, Validity

LIMITS = {"temperature_error": "1 K"}


def test_on_the_limit_is_inside_and_a_thousandth_of_a_step_beyond_is_not(heat, make):
    of = heat.probe("50:0.5 150:0.5")
    inside = heat.check(of, heat.point("60", "60.4 60.6"), heat.point("100", "100"))
    outside = heat.check(of, heat.point("60", "60.4 60.6002"), heat.point("100", "100"))
    assert heat.judged(inside, LIMITS).verdict == "pass"
    assert make.criterion(heat.judged(inside, LIMITS), "temperature_error").value == 1
    assert heat.judged(outside, LIMITS).verdict == "fail"


def test_a_mean_without_end_is_exact(heat, make):
    # (60.1 + 60.1 + 60.2)/3 - 60 = 0.4/3
    evaluation = heat.judged(heat.check(heat.probe(), heat.point("60", "60.1 60.1 60.2")))
    assert make.criterion(evaluation, "temperature_error").value == Fraction(4, 30)


def test_the_worst_set_point_speaks(heat, make):
    # Errors 0.4, -0.7, 0.7 K: the limits are not symmetric, and of two magnitudes one fails.
    points = [heat.point("60", "60.4"), heat.point("100", "99.3"), heat.point("150", "150.7")]
    limits = {"temperature_error": {"lower": "-1 K", "upper": "0.6 K"}}
    evaluation = heat.judged(heat.check(heat.probe(), *points), limits)
    worst = make.criterion(evaluation, "temperature_error")
    assert (worst.index, worst.value, worst.verdict) == (2, Fraction("0.7"), "fail")
    rows = evaluation.results["set_points"]
    assert [row["verdict"] for row in rows] == ["pass", "pass", "fail"]
    assert [row["error"] for row in rows] == [Fraction("0.4"), Fraction("-0.7"), Fraction("0.7")]
    assert evaluation.verdict == evaluation.verdict_as_found == evaluation.verdict_as_left


def test_the_budget_of_an_error(heat, make):
    of = heat.probe("50:0.1 100:-0.2", coverage_factor="3", drift="0.2", immersion_allowance="0.5")
    evaluation = heat.judged(heat.check(of, heat.point("60", "59.8 60.2 60.0")))
    error = make.criterion(evaluation, "temperature_error")
    # Sensitivity 1 - 0.3/50 to what was read; h = 0.06 as in test_probe; s = 0.2.
    expected = {
        "digitisation": 0.994 * 0.1 / sqrt(12),
        "scatter": 0.994 * 0.2 / sqrt(3),
        "certificate": 0.1,
        "drift": 0.2 / sqrt(3),
        "immersion": 0.5 / sqrt(3),
        "interpolation": 0.06 / sqrt(3),
    }
    found = {row.source.split()[0]: row.contribution for row in error.budget}
    assert found == pytest.approx(expected, rel=1e-12)
    assert [row.degrees_of_freedom for row in error.budget if row.source.startswith("scatter")] == [
        2
    ]


def test_the_display_has_the_budget_of_the_probe_and_its_own_step(heat, make):
    points = [heat.point("60", "60.2 60.4", displayed="60")]
    evaluation = heat.judged(heat.check(heat.probe(), *points, display_interval="1"))
    shown = make.criterion(evaluation, "display_error")
    assert shown.value == Fraction("-0.3")
    assert make.row(shown, "digitisation of the display").contribution == pytest.approx(
        1 / sqrt(12)
    )
    error = make.criterion(evaluation, "temperature_error")
    assert shown.standard_uncertainty == pytest.approx(
        sqrt(error.standard_uncertainty**2 + 1 / 12), rel=1e-12
    )


SERIES = "0:20.0 60:58.7 120:61.3 180:60.4 240:60.9 300:60.6 360:60.4"


@pytest.mark.parametrize(
    ("band", "time", "gap"),
    [
        # Mean 60.5. Off by more than 0.4: 61.3 at 120 s; 60.9 is on the band, which is inside.
        ("0.4", 180, 60),
        ("0.39", 300, 60),
        ("0.8", 120, 60),
    ],
)
def test_settled_is_the_first_of_those_that_stay(heat, make, band, time, gap):
    point = heat.point("60", "60.4 60.6", SERIES)
    evaluation = heat.judged(heat.check(heat.probe(), point, settled_within=band))
    found = make.criterion(evaluation, "settling_time")
    assert found.value == time
    # At some moment since the reading before: a bound of one gap.
    assert found.standard_uncertainty == pytest.approx(gap / sqrt(3), rel=1e-12)


def test_a_stated_settling_time(heat, make):
    point = heat.point("60", "60.4 60.6", settled_after="480")
    limits = {"settling_time": {"upper": "8 min"}}
    evaluation = heat.judged(heat.check(heat.probe(), point, time_step="60"), limits)
    found = make.criterion(evaluation, "settling_time")
    assert (found.value, found.upper_limit, found.verdict) == (480, 480, "pass")
    assert found.standard_uncertainty == pytest.approx(60 / sqrt(12), rel=1e-12)


def test_a_spread_has_the_digitisation_of_both_ends_alone(heat, make):
    point = heat.point("60", "60.4 60.9 60.6")
    found = make.criterion(heat.judged(heat.check(heat.probe(), point)), "temperature_spread")
    assert found.value == Decimal("0.5")
    assert found.standard_uncertainty == pytest.approx(0.1 / sqrt(6), rel=1e-12)
    one = make.criterion(
        heat.judged(heat.check(heat.probe(), heat.point("60", "60.4"))), "temperature_spread"
    )
    assert one.value is None


def test_a_limit_without_what_it_needs_forbids_a_pass(heat, make):
    points = [heat.point("60", "60.0"), heat.point("100", "100.0", settled_after="60")]
    of = heat.check(heat.probe(), *points, time_step="1")
    evaluation = heat.judged(of, {"settling_time": {"upper": "2 min"}})
    assert make.findings(evaluation, "criterion-missing") == [("no-pass", "/set_points/0")]
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "pass")


def test_outside_the_certificate_is_void_and_hides_no_fail(heat, make):
    points = [heat.point("40", "40"), heat.point("60", "63"), heat.point("100", "100")]
    evaluation = heat.judged(heat.check(heat.probe("50:0 150:0"), *points), LIMITS)
    assert make.findings(evaluation, "outside-certificate") == [("void", "/set_points/0/readings")]
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "fail")
    assert evaluation.results["set_points"][0]["error"] is None


@pytest.mark.parametrize(
    ("required", "sets", "verdict"),
    [
        (None, ("60", "100"), "pass"),
        (None, ("60", "60"), "void"),  # of one temperature twice
        (AtLeast(Decimal(1), "no-pass"), ("60",), "pass"),
        (AtLeast(Decimal(3), "warning"), ("60", "100"), "pass"),
        (AtLeast(Decimal(3), "void"), ("60", "100"), "void"),
    ],
)
def test_one_set_point_is_no_pass_unless_the_profile_says_so(heat, required, sets, verdict):
    points = [heat.point(set_, set_) for set_ in sets]
    validity = Validity(set_points=required)
    evaluation = heat.judged(heat.check(heat.probe(), *points), LIMITS, validity=validity)
    assert evaluation.verdict == verdict


def test_the_line_of_errors(heat):
    # Errors 0.2, 0.6, 0.4 at 60, 100, 140: slope (−40·0.2 + 40·0.4)/3200 = 0.0025, mean 0.4.
    points = [heat.point("60", "60.2"), heat.point("100", "100.6"), heat.point("140", "140.4")]
    line = heat.judged(heat.check(heat.probe(), *points)).results["line"]
    assert line["slope"] == Fraction("0.0025")
    assert [(end["set"], end["error"]) for end in line["ends"]] == [
        (60, Fraction("0.3")),
        (140, Fraction("0.5")),
    ]
    assert heat.judged(heat.check(heat.probe(), points[0])).results["line"] is None


@pytest.mark.parametrize(
    ("limit", "end"),
    [
        ({"lower": "-2 K", "upper": "2 K"}, "upwards."),
        ({"upper": "2 K"}, "upwards where it is too hot, and never where it is too cold."),
        ({"lower": "-2 K"}, "upwards where it is too cold, and never where it is too hot."),
    ],
)
def test_the_smallest_error_that_shows(heat, limit, end):
    points = [heat.point("60", "60"), heat.point("100", "100")]
    evaluation = heat.judged(heat.check(heat.probe(), *points), {"temperature_error": limit})
    line = evaluation.results["reveals"][0]
    # 2 + 1.6449·u, u² = 0.1²/12 + 0.15²; 1.6449 from a table of the normal distribution.
    assert line["smallest"] == pytest.approx(2 + 1.6449 * sqrt(0.01 / 12 + 0.0225), abs=1e-4)
    assert line["message"].endswith(end)


def test_without_a_limit_no_size_shows_and_nothing_is_judged(heat, make):
    evaluation = heat.judged(heat.check(heat.probe(), heat.point("60", "60 60.1")))
    assert {line["smallest"] for line in evaluation.results["reveals"]} == {None}
    assert evaluation.verdict == "void"  # one set point forbids a pass
    two = heat.judged(heat.check(heat.probe(), heat.point("60", "60"), heat.point("90", "90")))
    assert two.verdict is None
    assert make.findings(two, "nothing-judged") == [("warning", None)]
