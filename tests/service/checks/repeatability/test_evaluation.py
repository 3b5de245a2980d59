"""Scatter, range and smallest net mass of placings, judged. Net indications in mg above 20 g."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import pytest

from weighworthy_service.checks.terms import AtLeast, Validity

DIGIT = 1 / sqrt(12)  # of d = 1 mg, in mg
# Mean 1, squared deviations 0 1 1 1 0 1 0 0 0 0: s² = 4/9 mg², s = 2/3 mg.
TWO_THIRDS = [1, 0, 2, 2, 1, 0, 1, 1, 1, 1]
# 0 and 0.4 and 0.8: s² = 2·0.16/2, s = 0.4 mg, all digits of it.
STEPS = ["0", "0.4", "0.8"]


def milligrams(rows):
    return {row.source: row.contribution * 1000 for row in rows}


def test_standard_deviation_range_and_smallest_net_mass(judged, make):
    evaluation = judged(TWO_THIRDS)
    s = make.criterion(evaluation, "standard_deviation").value
    # 2/3 mg to 34 digits.
    assert s == Decimal("0.0006666666666666666666666666666666667")
    assert make.criterion(evaluation, "range").value == Decimal("0.002")
    # 2000 times that.
    net_mass = make.criterion(evaluation, "smallest_net_mass").value
    assert net_mass == Decimal("1.3333333333333333333333333333333334")
    assert evaluation.results["mean"] == Fraction(20001, 1000)
    assert evaluation.results["observations"] == 10
    deviations = [p["deviation"] * 1000 for p in evaluation.results["placings"]]
    assert deviations == [0, -1, 1, 1, 0, -1, 0, 0, 0, 0]


def test_criteria_come_in_their_order_and_none_is_judged_without_a_limit(judged):
    evaluation = judged(TWO_THIRDS)
    assert [c.key for c in evaluation.criteria] == [
        "standard_deviation",
        "range",
        "smallest_net_mass",
    ]
    assert [c.verdict for c in evaluation.criteria] == [None, None, None]
    assert evaluation.verdict is None


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [("0.4 mg", "pass"), ("0.399999999 mg", "fail"), ("0.002 % of load", "pass")],
)
def test_a_scatter_on_its_limit_is_inside(judged, limit, verdict):
    # 0.002 % of 20 g is 0.4 mg.
    terms = {"validity": Validity(placings=AtLeast(Decimal(2), "void"))}
    assert judged(STEPS, {"standard_deviation": limit}, terms=terms).verdict == verdict


def test_a_range_on_its_limit_is_inside(judged):
    assert judged(TWO_THIRDS, {"range": {"upper": "2 mg"}}).verdict == "pass"
    assert judged(TWO_THIRDS, {"range": {"upper": "1.999 mg"}}).verdict == "fail"


def test_the_smallest_sample_mass_as_a_limit(judged):
    # 2000 · 2/3 mg = 1.333… g.
    assert judged(TWO_THIRDS, {"smallest_net_mass": {"upper": "1.3334 g"}}).verdict == "pass"
    assert judged(TWO_THIRDS, {"smallest_net_mass": {"upper": "1.3333 g"}}).verdict == "fail"


def test_the_floor_is_0_41_d(judged, make):
    # Two of ten 1 mg higher: s² = (2 - 4/10)/9 = 0.1778 mg², s = 0.4216 mg; one: 0.3162 mg.
    above, below = judged([1, 1] + [0] * 8), judged([1] + [0] * 9)
    assert above.results["floor"] == {"value": Decimal("0.00041"), "decides": False}
    assert below.results["floor"]["decides"] is True
    assert make.criterion(below, "standard_deviation").value == pytest.approx(
        Decimal(sqrt(0.1) / 1000)
    )
    # 2000 · 0.41 mg.
    assert make.criterion(below, "smallest_net_mass").value == Decimal("0.82")
    assert make.findings(below, "scatter-below-floor") == [("note", "/placings")]
    assert not make.findings(above, "scatter-below-floor")


def test_equal_readings_are_no_perfect_balance(judged, make):
    evaluation = judged([0] * 10, {"standard_deviation": "1 mg"})
    criterion = make.criterion(evaluation, "standard_deviation")
    assert criterion.value == 0
    assert make.findings(evaluation, "scatter-not-seen") == [("warning", "/placings")]
    assert not make.findings(evaluation, "scatter-below-floor")
    # Tared: one rounding a placing, with all of it.
    assert milligrams(criterion.budget) == {"digitisation of loaded readings": pytest.approx(DIGIT)}
    assert criterion.expanded_uncertainty == Decimal("0.00058")
    assert make.criterion(evaluation, "range").standard_uncertainty * 1000 == pytest.approx(
        DIGIT * sqrt(2)
    )
    assert make.criterion(evaluation, "smallest_net_mass").value == Decimal("0.82")


def test_budget_of_s_with_a_zero_for_each_placing(judged, make):
    evaluation = judged(TWO_THIRDS, zeros=[0] * 10)
    criterion = make.criterion(evaluation, "standard_deviation")
    # √(1/c4² - 1) for ten is 0.238765 (c4 = 0.972659); readings have √(1/9).
    assert milligrams(criterion.budget) == {
        "scatter of the placings": pytest.approx(2 / 3 * 0.238765, rel=1e-5),
        "digitisation of loaded readings": pytest.approx(DIGIT / 3),
        "digitisation of zero readings": pytest.approx(DIGIT / 3),
    }
    assert make.row(criterion, "scatter").degrees_of_freedom == 9
    net_mass = make.criterion(evaluation, "smallest_net_mass")
    assert net_mass.standard_uncertainty == pytest.approx(2000 * criterion.standard_uncertainty)


@pytest.mark.parametrize(
    ("zeros", "share"),
    [
        ([0] + [None] * 9, 0),  # one for all cancels
        # Deviations of the first five add up to 1, of the others to -1: 2/(9²·4/9).
        ([0, *[None] * 4, 0, *[None] * 4], 1 / 18),
        # The first is tared: 0; the other nine share a zero, and their deviations add up to 0.
        ([None, 0, *[None] * 8], 0),
    ],
)
def test_a_zero_of_several_placings_acts_with_their_sum(judged, make, zeros, share):
    budget = make.criterion(judged(TWO_THIRDS, zeros=zeros), "standard_deviation").budget
    found = milligrams(budget).get("digitisation of zero readings", 0)
    assert found == pytest.approx(DIGIT * sqrt(share))


def test_zeros_below_the_floor(judged, make):
    """Standard deviation of what two zeros add, 0 0 0 1 1: variance (2 - 4/5)/4 = 0.3 of both."""
    evaluation = judged([0] * 5, zeros=[0, None, None, 0, None])
    # n Σg - Σg² over n(n - 1), with g = 3 and 2: (5·5 - 13)/20 = 0.6 = 2 · 0.3.
    row = make.row(make.criterion(evaluation, "standard_deviation"), "digitisation of zero")
    assert row.sensitivity == pytest.approx(sqrt(0.6))


@pytest.mark.parametrize(
    ("zeros", "sensitivity"),
    [([0, 0], sqrt(2)), ([0, None], None), ([None, 0], 1), ([None, None], None)],
)
def test_zeros_of_the_range(judged, make, zeros, sensitivity):
    budget = make.criterion(judged([0, 3], zeros=zeros), "range").budget
    found = {row.source: row.sensitivity for row in budget}
    assert found["digitisation of loaded readings"] == pytest.approx(sqrt(2))
    expected = None if sensitivity is None else pytest.approx(sensitivity)
    assert found.get("digitisation of zero readings") == expected
    assert all(row.degrees_of_freedom == inf for row in budget)


def test_interval_of_ten(judged):
    results = judged(TWO_THIRDS).results
    # χ² of 9: 2.70039 and 19.0228 (tables).
    lower, upper = (2 / 3 * sqrt(9 / x) for x in (19.0228, 2.70039))
    said = results["standard_deviation"]
    assert (said["lower"] * 1000, said["upper"] * 1000) == pytest.approx((lower, upper), rel=1e-5)
    assert results["smallest_net_mass"]["lower"] == pytest.approx(2 * lower, rel=1e-5)
    assert results["smallest_net_mass"]["upper"] == pytest.approx(2 * upper, rel=1e-5)


def test_drift(judged, make):
    evaluation = judged(["0", "1", "2", "3", "4.5"])
    drift = evaluation.results["drift"]
    # Σ(i - 2)x = -0 - 1 + 0 + 3 + 9 = 11 over 10; mean 2.1.
    assert drift["slope"] == Fraction(11, 10_000)
    # Left: 12.2 - 11²/10 = 0.1 of squares (of deviations -2.1 -1.1 -0.1 0.9 2.4: 12.2).
    assert drift["standard_deviation_about_line"] * 1000 == pytest.approx(Decimal(sqrt(0.1 / 3)))
    assert drift["standard_uncertainty"] * 1000 == pytest.approx(Decimal(sqrt(0.1 / 3 / 10)))
    assert drift["ratio"] == pytest.approx(1.1 / sqrt(0.1 / 30))
    # Student's t of 3 degrees, 97.5 %: 3.182 (tables).
    assert drift["critical_ratio"] == pytest.approx(3.182, abs=0.0005)
    assert drift["significant"] is True
    assert make.findings(evaluation, "drift-over-placings") == [("note", "/placings")]
    assert judged(TWO_THIRDS).results["drift"]["significant"] is False


def test_a_drift_without_anything_left_over_and_one_of_two(judged):
    exact = judged([0, 1, 2]).results["drift"]
    assert (exact["ratio"], exact["significant"]) == (None, True)
    level = judged([0, 0, 0]).results["drift"]
    assert (level["ratio"], level["significant"]) == (None, False)
    two = judged([0, 9]).results["drift"]
    assert (two["slope"], two["standard_uncertainty"]) == (Fraction(9, 1000), None)
    assert two["significant"] is False


@pytest.mark.parametrize(
    ("n", "required", "severity"),
    [(4, None, "no-pass"), (5, None, None), (9, 10, "void"), (4, 3, None)],
)
def test_too_few_placings(judged, make, n, required, severity):
    validity = Validity(placings=required and AtLeast(Decimal(required), "void"))
    above = [0, 1] * 5
    evaluation = judged(above[:n], {"range": "9 mg"}, terms={"validity": validity})
    found = make.findings(evaluation, "too-few-placings")
    assert found == ([] if severity is None else [(severity, "/placings")])
    assert evaluation.verdict == ("pass" if severity is None else "void")


def test_ten_for_usp_41(judged, make):
    assert make.findings(judged([0, 1] * 5), "few-for-usp-41") == []
    assert make.findings(judged([0, 1, 0, 1, 0, 1, 0, 1, 0]), "few-for-usp-41") == [
        ("note", "/placings")
    ]


def test_the_weight_is_only_the_same(judged, make):
    """No weight, buoyancy, or stated repeatability in any budget; no finding on them either."""
    balance = make.balance(repeatability="0.9", repeatability_observations=3)
    evaluation = judged(TWO_THIRDS, weights=[make.weight("W20", "20", None)], instrument=balance)
    for criterion in evaluation.criteria:
        sources = {row.source.partition(" of ")[0] for row in criterion.budget}
        assert sources <= {"scatter", "digitisation"}
    assert {f.code for f in evaluation.findings} == {
        "weight-value-not-used",
        "zero-not-stated",
        "nothing-judged",
    }


@pytest.mark.parametrize(("required", "severity"), [(None, "note"), ("no-pass", "no-pass")])
def test_a_weight_past_its_due_date(judged, make, required, severity):
    weight = make.weight("W20", "20", due_on=date(2026, 3, 1))
    at = {"weights": [weight], "performed_at": datetime(2026, 3, 16, 8, tzinfo=UTC)}
    evaluation = judged(TWO_THIRDS, terms={"validity": Validity(weights_in_date=required)}, **at)
    assert make.findings(evaluation, "weight-overdue") == [(severity, "/weights/W20/due_on")]


def test_readings_that_cannot_count(judged, make):
    balance = make.balance(capacity="20.0015")
    evaluation = judged(TWO_THIRDS, {"range": "9 mg"}, instrument=balance)
    fields = [f"/placings/{i}/indication" for i in (2, 3)]
    assert make.findings(evaluation, "overload") == [("void", field) for field in fields]
    assert evaluation.verdict == "void"
    far = judged([0, 1, 0, 1, 2001], {"range": {"upper": "9 g"}})
    assert make.findings(far, "indication-far-from-load") == [("no-pass", "/placings/4/indication")]
    assert (far.verdict, far.verdict_if_valid) == ("void", "pass")
    assert not make.findings(judged([0, 1, 0, 1, 2000]), "indication-far-from-load")


def test_a_stated_repeatability_that_is_too_small(judged, make):
    # The interval of 2/3 mg begins at 0.4586 mg.
    for stated, found in (("0.000458", 1), ("0.000459", 0)):
        balance = make.balance(repeatability=stated)
        said = make.findings(judged(TWO_THIRDS, instrument=balance), "repeatability-understated")
        assert said == [("warning", "/instrument/repeatability")] * found


@pytest.mark.parametrize(
    ("above", "d", "declared"),
    [
        (TWO_THIRDS, "0.001", "0.667 mg"),  # 0.6666… rounded up to three digits
        ([0] * 10, "0.001", "0.41 mg"),
        ([0] * 10, "0.00001", "0.0041 mg"),
        ([0, 4000] * 5, "0.001", "2.11 g"),  # 4 g · √(10/36) = 2.108 g
    ],
)
def test_what_to_declare(judged, make, above, d, declared):
    said = judged(above, instrument=make.balance(d)).results["declare"]["instrument"]
    assert said == {"repeatability": declared, "repeatability_observations": 10}


@pytest.mark.parametrize(
    ("limits", "rule", "accepted"),
    [
        ({"standard_deviation": "1 mg"}, "simple", 1),
        # Tared, u = √(0.159177² + 0.096225²) mg = 0.1860 mg, ν = 16.8, k = 2.16: U = 0.41 mg.
        ({"standard_deviation": {"upper": "1.5 mg"}}, "guarded", 1.09),
    ],
)
def test_the_scatter_that_would_show(judged, make, limits, rule, accepted):
    evaluation = judged(TWO_THIRDS, limits, terms={"decision": make.decision(rule)})
    line = evaluation.results["reveals"][0]
    # χ² of 9 at 5 %: 3.32511 (tables).
    assert line["smallest"] * 1000 == pytest.approx(accepted * sqrt(9 / 3.32511), rel=1e-5)


@pytest.mark.parametrize("limits", [{"range": "1 mg"}, {"standard_deviation": {"lower": "0 mg"}}])
def test_without_an_upper_limit_no_scatter_shows(judged, limits):
    assert judged(TWO_THIRDS, limits).results["reveals"][0]["smallest"] is None


def test_what_it_cannot_see_is_said(judged):
    said = {line["fault"]: line["message"] for line in judged(TWO_THIRDS).results["reveals"]}
    assert {"constant-error", "heat", "off-centre"} <= set(said)
    assert "never shows" in said["constant-error"]
