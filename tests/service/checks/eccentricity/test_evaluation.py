"""Differences to the centre and errors at each place. Net indications in mg above the load."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from math import sqrt

import pytest

from weighworthy_service.checks.terms import AtLeast, Validity

DIGIT = 1 / sqrt(12)  # of d = 1 mg, in mg
# Centre 1 and 2: mean 1.5; differences -1.5 (left), 2.5, -0.5.
FIVE = [
    ("centre", 1, 0),
    ("left", 0, 0),
    ("right", 4, 0),
    ("back", 1, 0),
    ("centre", 2, 0),
]


def milligrams(rows):
    return {row.source: row.contribution * 1000 for row in rows}


def test_differences_are_to_the_mean_of_the_centre(judged, make):
    evaluation = judged(*FIVE)
    found = [(p["position"], p["difference"] * 1000) for p in evaluation.results["positions"]]
    assert found == [
        ("left", Fraction(-3, 2)),
        ("right", Fraction(5, 2)),
        ("back", Fraction(-1, 2)),
    ]
    criterion = make.criterion(evaluation, "eccentricity")
    assert (criterion.value * 1000, criterion.index, criterion.load) == (Fraction(5, 2), 2, 20)
    assert evaluation.results["largest_difference"] == {
        "position": "right",
        "value": Fraction(25, 10_000),
        "share_of_load": Fraction(25, 2000),  # 100 · 2.5 mg/20 g
    }
    assert evaluation.results["centre"]["net"] == Fraction(200015, 10_000)


def test_several_placings_at_one_place_count_with_their_mean(judged, make):
    evaluation = judged(("centre", 0, 0), ("a", 3, 0), ("b", 2, 0), ("a", 0, 0))
    (a, b) = evaluation.results["positions"]
    assert (a["difference"] * 1000, a["observations"]) == (Fraction(3, 2), 2)
    assert (b["difference"] * 1000, b["observations"]) == (2, 1)
    assert make.criterion(evaluation, "eccentricity").index == 2


def test_each_place_is_judged_and_the_worst_speaks(judged, make):
    # Left is off by -1.5 mg: beyond -1 mg, though right is farther from the centre.
    evaluation = judged(*FIVE, limits={"eccentricity": {"lower": "-1 mg", "upper": "9 mg"}})
    criterion = make.criterion(evaluation, "eccentricity")
    assert (criterion.verdict, criterion.index) == ("fail", 1)
    assert [p["verdict"] for p in evaluation.results["positions"]] == ["fail", "pass", "pass"]
    assert evaluation.results["largest_difference"]["position"] == "right"


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [("2.5 mg", "pass"), ("2.499 mg", "fail"), ("0.0125 % of load", "pass"), ("2 d", "fail")],
)
def test_a_difference_on_its_limit_is_inside(judged, limit, verdict):
    assert judged(*FIVE, limits={"eccentricity": limit}).verdict == verdict


def test_of_the_weights_nothing_is_left_in_a_difference(judged, make):
    balance = make.balance(repeatability="0.0006", repeatability_observations=10)
    criterion = make.criterion(judged(*FIVE, instrument=balance), "eccentricity")
    # One reading against the mean of two: 1 + 1/4 + 1/4 = 1.5, and so with zeros of their own.
    assert milligrams(criterion.budget) == {
        "digitisation of loaded readings": pytest.approx(DIGIT * sqrt(1.5)),
        "digitisation of zero readings": pytest.approx(DIGIT * sqrt(1.5)),
        "repeatability": pytest.approx(0.6 * sqrt(1.5)),
        "reference weights W20": 0,
    }
    row = make.row(criterion, "reference weights")
    # Class F1, 20 g: 0.25 mg/√3.
    assert (row.standard_uncertainty * 1000, row.sensitivity) == (
        pytest.approx(0.25 / sqrt(3)),
        0,
    )


def test_one_zero_for_all_cancels_in_differences(judged, make):
    placings = [("centre", 1, 0), ("a", 3, None), ("b", 0, None)]
    budget = make.criterion(judged(*placings), "eccentricity").budget
    assert "digitisation of zero readings" not in milligrams(budget)
    errors = make.criterion(judged(*placings), "position_error").budget
    assert milligrams(errors)["digitisation of zero readings"] == pytest.approx(DIGIT)


def test_the_stated_eccentricity_does_not_come_in(judged, make):
    from weighworthy_service.metrology.instrument import Eccentricity

    balance = make.balance(eccentricity=Eccentricity(Decimal("0.003"), Decimal(20)))
    weights = [make.weight("W10", "10"), make.weight("X10", "10")]
    evaluation = judged(*FIVE, instrument=balance, weights=weights)
    for criterion in evaluation.criteria:
        assert "built-up loads" not in milligrams(criterion.budget)
    assert not make.findings(evaluation, "eccentricity-not-stated")


def test_errors_are_of_each_placing(judged, make):
    evaluation = judged(*FIVE, limits={"position_error": {"within": "4 mg"}})
    assert [p["error"] * 1000 for p in evaluation.results["placings"]] == [1, 0, 4, 1, 2]
    criterion = make.criterion(evaluation, "position_error")
    assert (criterion.value * 1000, criterion.index, criterion.verdict) == (4, 2, "pass")
    # Unadjusted, class F1: 0.25 mg/4 and 10 % of 1.2 kg/m³ over 8000 kg/m³ of 20 g, 0.3 mg.
    assert milligrams(criterion.budget) == {
        "digitisation of loaded readings": pytest.approx(DIGIT),
        "digitisation of zero readings": pytest.approx(DIGIT),
        "reference weights W20": pytest.approx(0.25 / sqrt(3)),
        "buoyancy of W20": pytest.approx((0.25 / 4 + 0.3) / sqrt(3)),
    }


def test_weights_without_a_value_serve_differences(judged, make):
    weights = [make.weight("W20", "20", None)]
    limits = {"eccentricity": "3 mg", "position_error": "9 mg"}
    evaluation = judged(*FIVE, limits=limits, weights=weights)
    assert make.criterion(evaluation, "position_error").value is None
    assert make.findings(evaluation, "criterion-missing") == [("no-pass", "/load")]
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "pass")
    alone = judged(*FIVE, limits={"eccentricity": "3 mg"}, weights=weights)
    assert alone.verdict == "pass"
    assert make.findings(alone, "weight-value-missing") == [("note", "/load")]
    assert "error" not in alone.results["placings"][0]


@pytest.mark.parametrize(
    ("last", "moved"),
    # Tared, two roundings: u = √(2/12) = 0.408 mg, U = 0.82 mg.
    [(1, False), ("1.8", False), ("1.83", True), (0, True)],
)
def test_a_centre_that_moves(judged, make, last, moved):
    placings = [("centre", 1, None), ("a", 1, None), ("centre", last, None)]
    evaluation = judged(*placings)
    centre = evaluation.results["centre"]
    assert centre["change"] * 1000 == Decimal(last) - 1
    assert centre["expanded_uncertainty"] == Decimal("0.00082")
    found = make.findings(evaluation, "centre-moved")
    assert found == ([("warning", "/placings")] if moved else [])


def test_one_centre_tells_no_change(judged):
    centre = judged(("centre", 1, 0), ("a", 3, 0)).results["centre"]
    assert (centre["change"], centre["expanded_uncertainty"]) == (None, None)


@pytest.mark.parametrize(
    ("capacity", "far"), [("40", False), ("39.9", True), ("80", False), ("80.1", True)]
)
def test_a_load_far_from_a_third(judged, make, capacity, far):
    evaluation = judged(*FIVE, instrument=make.balance(capacity=capacity))
    assert make.findings(evaluation, "load-far-from-third") == ([("note", "/load")] if far else [])
    assert not make.findings(evaluation, "not-stated")


def test_without_a_capacity_nobody_can_tell(judged, make):
    assert make.findings(judged(*FIVE), "not-stated") == [("note", "/instrument/capacity")]


def test_few_places_and_none_that_differs(judged, make):
    assert make.findings(judged(*FIVE), "few-positions") == [("note", "/placings")]
    four = [*FIVE, ("front", 1, 0)]
    assert not make.findings(judged(*four), "few-positions")
    level = judged(("centre", 1, 0), ("a", 1, 0), ("b", 1, 0))
    assert make.findings(level, "difference-not-seen") == [("note", "/placings")]
    assert not make.findings(judged(*FIVE), "difference-not-seen")


def test_a_profile_asks_for_placings(judged, make):
    validity = Validity(placings=AtLeast(Decimal(6), "no-pass"))
    evaluation = judged(*FIVE, limits={"eccentricity": "9 mg"}, terms={"validity": validity})
    assert make.findings(evaluation, "too-few-placings") == [("no-pass", "/placings")]
    assert evaluation.verdict == "void"


@pytest.mark.parametrize(
    ("limits", "required", "severity"),
    [
        ({"eccentricity": "9 mg"}, None, "note"),
        ({"position_error": "9 mg"}, None, "void"),
        ({"eccentricity": "9 mg"}, "no-pass", "no-pass"),
    ],
)
def test_a_weight_past_its_due_date(judged, make, limits, required, severity):
    weight = make.weight("W20", "20", due_on=date(2026, 3, 1))
    at = {"weights": [weight], "performed_at": datetime(2026, 3, 16, 8, tzinfo=UTC)}
    terms = {"validity": Validity(weights_in_date=required)}
    evaluation = judged(*FIVE, limits=limits, terms=terms, **at)
    assert make.findings(evaluation, "weight-overdue") == [(severity, "/weights/W20/due_on")]


def test_what_to_declare(judged):
    assert judged(*FIVE).results["declare"]["instrument"] == {
        "eccentricity": {"difference": "2.5 mg", "load": "20 g"}
    }
    # Mean of three at the centre: 1/3 mg; 4 - 1/3 = 3.666… mg, rounded up.
    thirds = [("centre", 0, 0), ("centre", 0, 0), ("centre", 1, 0), ("a", 4, 0)]
    said = judged(*thirds).results["declare"]["instrument"]["eccentricity"]
    assert said["difference"] == "3.67 mg"


def test_the_difference_that_would_show(judged, make):
    evaluation = judged(*FIVE, limits={"eccentricity": {"lower": "-2 mg", "upper": "4 mg"}})
    line = evaluation.results["reveals"][0]
    # 4 mg and 1.645 times √(3/12) mg: nothing is estimated.
    assert line["smallest"] * 1000 == pytest.approx(4 + 1.6449 * 0.5, rel=1e-5)
    assert judged(*FIVE).results["reveals"][0]["smallest"] is None
