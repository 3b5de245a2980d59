from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import pytest
from scipy.stats import t as student

from weighworthy_service.checks.judging import Computed, judge, missing, most_critical
from weighworthy_service.checks.outcome import CriterionName
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.limits import Limit

NAME = CriterionName("span_error", "g", has_load=True)


@pytest.fixture
def judged(make):
    """Judge a value (g) with a standard uncertainty of 0.4 mg, normal unless `degrees` says."""

    def of(value, limit="2 mg", *, degrees=inf, instrument=None, **terms):
        row = BudgetRow("all", "normal", 0.0004, "g", 1.0, degrees)
        computed = Computed(
            key="span_error[0]",
            value=Decimal(value),
            rows=[row],
            weights_error=Fraction(0),
            load=Decimal(40),
            place=("rounds", 0),
        )
        limits = {} if limit is None else {"span_error": limit}
        here = make.circumstances([make.weight("A", "20")], instrument)
        return judge(NAME, computed, make.terms(limits, **terms), here)

    return of


def codes(judged):
    return [(f.code, f.severity, f.field) for f in judged.findings]


def test_without_limit_the_value_is_computed_and_not_judged(judged):
    criterion = judged("0.001", limit=None).criterion
    assert criterion.value == Decimal("0.001")
    assert criterion.expanded_uncertainty == Decimal("0.00080")
    judgement = ("verdict", "lower_limit", "upper_limit", "margin", "distance", "limit_source")
    assert [getattr(criterion, name) for name in judgement] == [None] * 6
    assert criterion.conformance_probability is None
    assert criterion.tolerance_to_uncertainty is None


@pytest.mark.parametrize(
    ("value", "verdict"),
    [("0.002", "pass"), ("-0.002", "pass"), ("0.002000000000001", "fail"), ("-0.0021", "fail")],
)
def test_a_value_on_the_limit_is_inside(judged, value, verdict):
    assert judged(value).criterion.verdict == verdict


@pytest.mark.parametrize(
    ("value", "margin", "distance"),
    [
        ("0", 1, "0.002"),
        ("0.002", 0, "0"),
        ("0.0005", "0.75", "0.0015"),
        ("-0.003", "-0.5", "-0.001"),
    ],
)
def test_margin_is_1_in_the_centre_and_0_on_the_limit(judged, value, margin, distance):
    criterion = judged(value).criterion
    assert criterion.margin == Fraction(Decimal(margin))
    assert criterion.distance == Fraction(Decimal(distance))


def test_one_sided_limits_have_a_distance_and_no_margin(judged):
    criterion = judged("0.0005", limit={"upper": "2 mg"}).criterion
    assert (criterion.margin, criterion.tolerance_to_uncertainty) == (None, None)
    assert criterion.distance == Fraction(15, 10_000)
    assert (criterion.lower_limit, criterion.upper_limit) == (None, Fraction(2, 1000))


def test_margin_of_an_asymmetric_tolerance(judged):
    # -1 mg to 3 mg: half width 2 mg; 0 is 1 mg from the nearer limit.
    criterion = judged("0", limit={"lower": "-1 mg", "upper": "3 mg"}).criterion
    assert criterion.margin == Fraction(1, 2)


def test_tolerance_to_uncertainty_uses_the_stated_uncertainty(judged, make):
    # 95 %: k·u = 0.78399 mg, stated 0.79 mg; 2/0.79
    criterion = judged("0", decision=make.decision(coverage="95")).criterion
    assert criterion.tolerance_to_uncertainty == Fraction(200, 79)


def test_conformance_probability_is_that_of_the_t_distribution(judged):
    # y = 1 mg, limits ±2 mg, u = 0.4 mg: t from -7.5 to 2.5 with 5 degrees of freedom
    criterion = judged("0.001", degrees=5).criterion
    expected = student.cdf(2.5, 5) - student.cdf(-7.5, 5)
    assert criterion.conformance_probability == pytest.approx(expected, rel=1e-9)


def test_a_one_sided_probability_integrates_one_side(judged):
    criterion = judged("0.001", limit={"upper": "2 mg"}, degrees=5).criterion
    assert criterion.conformance_probability == pytest.approx(student.cdf(2.5, 5), rel=1e-9)


def test_the_guard_band_is_decided_on_the_stated_decimal(judged, make):
    # 95 %: U = 0.79 mg as stated: accepted up to 2 - 0.79 = 1.21 mg inclusive; k·u is 0.784.
    guarded = make.decision("guarded", coverage="95")
    assert judged("0.00121", decision=guarded).criterion.verdict == "pass"
    assert judged("0.0012100001", decision=guarded).criterion.verdict == "fail"


def test_the_guard_factor_scales_the_band(judged, make):
    half = make.decision("guarded", guard_factor="0.5")  # 2 - 0.5·0.80 mg
    assert judged("0.0016", decision=half).criterion.verdict == "pass"
    assert judged("0.0016000001", decision=half).criterion.verdict == "fail"


def test_a_guard_factor_of_zero_is_simple_acceptance(judged, make):
    no_band = make.decision("guarded", guard_factor="0")
    assert judged("0.002", decision=no_band).criterion.verdict == "pass"
    assert judged("0.002000001", decision=no_band).criterion.verdict == "fail"


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("0.0012", "pass"),
        ("0.00121", "conditional-pass"),
        ("0.002", "conditional-pass"),
        ("0.0021", "conditional-fail"),
        ("0.0028", "conditional-fail"),
        ("-0.0029", "fail"),
    ],
)
def test_four_way(judged, make, value, verdict):
    assert judged(value, decision=make.decision("four-way")).criterion.verdict == verdict


def test_coverage_of_the_profile(judged, make):
    # 95 %: k = 1.95996, k·u = 0.78399 mg, stated 0.79 mg
    criterion = judged("0", decision=make.decision(coverage="95")).criterion
    assert criterion.expanded_uncertainty == Decimal("0.00079")


def test_the_two_methods_of_rounding(judged, make):
    # The limit 2 mg has its last digit at 1 mg.
    assert judged("0.0024").criterion.verdict == "fail"
    rounding = make.decision(rounding="rounding")
    assert judged("0.0024", decision=rounding).criterion.verdict == "pass"
    assert judged("0.0025", decision=rounding).criterion.verdict == "pass"  # half to the even 2
    assert judged("0.0026", decision=rounding).criterion.verdict == "fail"
    finer = make.decision(rounding="rounding", rounding_to="0.0001")
    assert judged("0.0024", decision=finer).criterion.verdict == "fail"


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({}, "simple, absolute method"),
        ({"rounding": "rounding"}, "simple, rounding method"),
        ({"rule": "guarded", "guard_factor": "0.8"}, "guarded, guard band 0.8 U"),
        ({"rule": "four-way"}, "four-way, guard band 1 U"),
    ],
)
def test_the_decision_rule_is_named(judged, make, fields, name):
    assert judged("0", decision=make.decision(**fields)).criterion.decision_rule == name


def test_the_limit_says_where_it_comes_from(judged, make):
    sourced = make.limit("2 mg", source="mill procedure 12, 4.1")
    source = judged("0", limit=sourced).criterion.limit_source
    assert source == "kestrel-mill@2026-03 /rules/0: mill procedure 12, 4.1"


def test_above_the_last_band_is_void(judged):
    found = judged("0", limit={"bands": {"39.9 g": "2 mg"}})
    assert found.criterion.verdict is None
    assert codes(found) == [("no-limit-for-load", "void", "/rounds/0")]


def test_a_limit_open_on_both_sides_is_void(judged, make):
    sides = make.limit({"lower": "-1 mg"}), make.limit({"upper": "1 mg"})
    found = judged("0", limit=Limit(larger_of=sides))
    assert codes(found) == [("no-limit-for-load", "void", "/rounds/0")]


@pytest.mark.parametrize(
    ("limit", "field"),
    [("1 e", "verification_interval"), ("0.01 % of capacity", "capacity")],
)
def test_a_limit_that_needs_what_is_not_stated_forbids_a_pass(judged, limit, field):
    found = judged("0", limit=limit)
    assert found.criterion.verdict is None
    assert codes(found) == [("not-stated", "no-pass", f"/instrument/{field}")]


def test_limits_that_cross_on_this_balance_judge_nothing(judged, make):
    # 2 d = 2 mg below, 1 mg above: only the balance tells that nothing lies between.
    found = judged("0.0015", limit={"lower": "2 d", "upper": "1 mg"}, instrument=make.balance())
    assert (found.criterion.verdict, found.criterion.margin) == (None, None)
    assert codes(found) == [("limits-cross", "no-pass", "/rounds/0")]


def test_a_rounding_place_coarser_than_the_tolerance_is_told(judged, make):
    decision = make.decision("simple", rounding="rounding", rounding_to="0.01")
    assert ("rounding-exceeds-tolerance", "warning", "/rounds/0") in codes(
        judged("0", decision=decision)
    )
    finer = make.decision("simple", rounding="rounding", rounding_to="0.002")
    assert "rounding-exceeds-tolerance" not in {
        code for code, _, _ in codes(judged("0", decision=finer))
    }


def test_a_criterion_that_cannot_be_computed_forbids_a_pass(make):
    terms = make.terms({"span_error": "2 mg"})
    found = missing(NAME, terms, "span_error[0]", ("rounds", 0))
    assert found.criterion.value is None
    assert codes(found) == [("criterion-missing", "no-pass", "/rounds/0")]


@pytest.mark.parametrize("present", [True, False])
def test_unless_it_is_judged_only_when_present_or_has_no_limit(make, present):
    limits = {"span_error": make.limit("2 mg", when_present=True)} if present else {}
    found = missing(NAME, make.terms(limits), "span_error[0]", ("rounds", 0))
    assert codes(found) == []


def test_the_most_critical_place_is_the_worst_then_the_tightest_then_the_first(judged):
    inside, tight, fails, fails_more = (judged(v) for v in ("0.0001", "0.0019", "0.0021", "-0.003"))
    twin = judged("-0.0019")
    assert most_critical([inside, tight, twin]).criterion is tight.criterion
    assert most_critical([inside, fails, tight]).criterion is fails.criterion
    assert most_critical([fails, fails_more]).criterion is fails_more.criterion


def test_a_judged_place_comes_before_an_unjudged_one(judged):
    unjudged, inside = judged("9", limit={"bands": {"1 g": "1 mg"}}), judged("0")
    found = most_critical([unjudged, inside])
    assert found.criterion is inside.criterion
    assert ("no-limit-for-load", "void", "/rounds/0") in codes(found), "void is never lost"


def test_unjudged_places_are_led_by_the_largest_magnitude(judged):
    small, large = judged("0.001", limit=None), judged("-0.005", limit=None)
    assert most_critical([small, large]).criterion.value == Decimal("-0.005")


def test_the_budget_is_handed_on(judged):
    (row,) = judged("0").criterion.budget
    assert row.contribution == 0.0004
    assert judged("0").criterion.standard_uncertainty == pytest.approx(sqrt(0.0004**2))
