"""Errors, zero returns and agreement of a span check, with their budgets."""

from decimal import Decimal
from fractions import Fraction
from math import inf, sqrt

import pytest

from weighworthy_service.checks.span.evaluation import evaluate
from weighworthy_service.checks.terms import AtLeast, Validity
from weighworthy_service.metrology.buoyancy import Environment

D = 0.001
DIGIT = D / sqrt(12)


@pytest.fixture
def weights(make):
    return [
        make.certified("W", "50", "50.000012", "0.000060", drift="0.00003"),
        make.certified("V", "50", "49.999980", "0.000060", drift="0", density="8000"),
    ]


@pytest.fixture
def steady(make):
    return make.balance(repeatability="0.0008", repeatability_observations=10)


def test_the_error_is_indication_less_zero_less_mass(make, weights):
    check = make.span([make.round("W", "0.001", "50.003", "0.002")], weights)
    evaluation = evaluate(check, make.terms())
    # 50.003 - 0.001 - 50.000012
    assert make.criterion(evaluation, "span_error[0]").value == Decimal("0.001988")
    # 0.002 - 0.001
    assert make.criterion(evaluation, "zero_return[0]").value == Decimal("0.001")
    assert evaluation.results["rounds"] == [
        {
            "index": 0,
            "stage": "as-found",
            "load": Decimal(50),
            "mass": Decimal("50.000012"),
            "error": Decimal("0.001988"),
            # against the mean zero 0.0015
            "error_mean_zero": Decimal("0.001488"),
            "zero_return": Decimal("0.001"),
        }
    ]


def test_the_budget_of_an_error(make, weights, steady):
    check = make.span([make.round("W", "0.001", "50.003")], weights, instrument=steady)
    criterion = make.criterion(evaluate(check, make.terms()), "span_error[0]")
    half_widths = 50 * 0.1 * 1.2 * (1 / 7950 - 1 / 8000) + 50 * 0.1 * 1.2 / 8000
    contributions = {
        "digitisation of loaded readings": DIGIT,
        "digitisation of zero readings": DIGIT,
        "repeatability": 0.0008,
        # 0.000060/2 and drift 0.00003/√3, linearly
        "reference weights W": 0.00003 + 0.00003 / sqrt(3),
        "buoyancy of W": half_widths / sqrt(3),
    }
    found = {row.source: row.contribution for row in criterion.budget}
    assert found == {name: pytest.approx(u, rel=1e-9) for name, u in contributions.items()}
    u = sqrt(sum(c**2 for c in contributions.values()))
    assert criterion.standard_uncertainty == pytest.approx(u, rel=1e-12)
    # Welch-Satterthwaite with the one estimate
    assert criterion.degrees_of_freedom == pytest.approx(u**4 / (0.0008**4 / 9), rel=1e-9)


@pytest.mark.parametrize(
    ("stages", "occasion", "narrow"),
    [
        ("f", "routine", [False]),
        # The occasion tells of an adjustment before the request; what is as found came before it.
        ("l", "after-adjustment", [True]),
        ("f", "after-adjustment", [False]),
        ("fAl", "routine", [False, True]),
    ],
)
def test_buoyancy_of_an_adjusted_balance_is_that_of_the_weight(
    make, weights, stages, occasion, narrow
):
    # V has a density of 8000 kg/m³: nothing is left once the balance is adjusted.
    rounds = {
        "f": make.round("V", "0", "50"),
        "A": make.adjustment,
        "l": make.round("V", "0", "50", stage="as-left"),
    }
    check = make.span([rounds[s] for s in stages], weights, occasion=occasion)
    errors = [c for c in evaluate(check, make.terms()).criteria if c.name == "span_error"]
    found = [make.row(c, "buoyancy").contribution for c in errors]
    wide = 50 * 0.1 * 1.2 / 8000 / sqrt(3)
    assert found == [pytest.approx(0 if n else wide, rel=1e-9, abs=1e-15) for n in narrow]


def test_the_value_is_never_corrected_for_buoyancy(make, weights):
    thin = Environment(Decimal(20), Decimal(50), Decimal(700))
    check = make.span([make.round("W", "0", "50.000")], weights, environment=thin)
    assert evaluate(check, make.terms()).criteria[0].value == Decimal("-0.000012")


def test_zero_return_takes_two_zeros_and_the_repeatability_once(make, weights, steady):
    check = make.span([make.round("W", "0", "50", "0.001")], weights, instrument=steady)
    criterion = make.criterion(evaluate(check, make.terms()), "zero_return[0]")
    found = {row.source: row.contribution for row in criterion.budget}
    assert found == {
        "digitisation of zero readings": pytest.approx(DIGIT * sqrt(2)),
        "repeatability": pytest.approx(0.0008),
    }


def test_a_zero_return_that_was_not_read_forbids_a_pass(make, weights):
    check = make.span([make.round("W", "0", "50")], weights)
    evaluation = evaluate(check, make.terms({"span_error": "2 mg", "zero_return": "1 mg"}))
    assert evaluation.verdict == "void"
    assert evaluation.verdict_if_valid == "pass"
    assert make.findings(evaluation, "criterion-missing") == [("no-pass", "/rounds/0/zero_after")]
    optional = make.limit("1 mg", when_present=True)
    evaluation = evaluate(check, make.terms({"span_error": "2 mg", "zero_return": optional}))
    assert (evaluation.verdict, make.findings(evaluation, "criterion-missing")) == ("pass", [])


def test_criteria_come_in_their_order_with_the_place_in_the_request(make, weights):
    rounds = [
        make.round("W", "0", "50", "0"),
        make.adjustment,
        make.round("W", "0", "50", stage="as-left"),
    ]
    evaluation = evaluate(make.span(rounds, weights), make.terms())
    assert [(c.key, c.index, c.stage, c.load, c.value) for c in evaluation.criteria] == [
        ("span_error[0]", 0, "as-found", Decimal(50), Decimal("-0.000012")),
        ("span_error[2]", 2, "as-left", Decimal(50), Decimal("-0.000012")),
        ("zero_return[0]", 0, "as-found", None, Decimal(0)),
        ("zero_return[2]", 2, "as-left", None, None),
        ("span_agreement", None, None, None, None),
    ]


def test_the_band_is_chosen_by_the_nominal_load(make, weights):
    # W weighs 50.000012 g and must not slip into the looser band above 50 g.
    bands = {"bands": {"50 g": "1 mg", "100 g": "9 mg"}}
    check = make.span([make.round("W", "0", "50.003")], weights)
    evaluation = evaluate(check, make.terms({"span_error": bands}))
    assert evaluation.criteria[0].upper_limit == Fraction(1, 1000)
    assert evaluation.verdict == "fail"


def test_percent_of_load_scales_by_the_nominal_load(make, weights):
    check = make.span([make.round("W", "0", "50")], weights)
    evaluation = evaluate(check, make.terms({"span_error": "0.01 % of load"}))
    assert evaluation.criteria[0].upper_limit == Fraction(5, 1000)


def test_if_the_mean_of_both_zeros_would_change_the_verdict_it_is_told(make):
    # E = 3 mg - 0 fails at 2 mg; against the mean zero of 1 mg it is 2 mg and passes.
    weights = [make.weight("W", "50")]
    terms = make.terms({"span_error": "2 mg"})
    moved = make.span([make.round("W", "0", "50.003", "0.002")], weights)
    evaluation = evaluate(moved, terms)
    assert evaluation.verdict == "fail", "the error against the mean zero is not judged"
    assert make.findings(evaluation, "zero-moved") == [("warning", "/rounds/0/zero_after")]
    steady = make.span([make.round("W", "0", "50.003", "0.001")], weights)
    assert make.findings(evaluate(steady, terms), "zero-moved") == []


def rounds_of(make, text):
    """`"W0 W3 A V1"`: load and error in mg of its nominal value."""
    adjusted = False
    for word in text.split():
        if word == "A":
            adjusted = True
            yield make.adjustment
        else:
            stage = "as-left" if adjusted else "as-found"
            yield make.round(word[0], "0", f"50.{int(word[1:]):03d}", stage=stage)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("W0 W3", "0.003"),
        ("W3 W0", "0.003"),
        ("W0 W5 W2", "0.005"),
        ("W0", None),
        ("W0 A W3", None),
        ("W0 W1 A W4 W9", "0.005"),
        ("W0 W9 A W4 W5", "0.009"),
        # Errors 3 mg - 0.012 and 1 mg + 0.020 mg, of two weights of one nominal load
        ("W3 V1", "0.001968"),
        ("W0 W0", "0"),
    ],
)
def test_agreement_of_rounds_with_no_adjustment_between(make, weights, text, value):
    check = make.span(rounds_of(make, text), weights)
    found = make.criterion(evaluate(check, make.terms()), "span_agreement").value
    assert found == (None if value is None else Decimal(value))


def test_agreement_is_of_one_nominal_load(make):
    weights = [make.weight("A", "50"), make.weight("B", "20")]
    check = make.span([make.round("A", "0", "50.004"), make.round("B", "0", "20")], weights)
    assert make.criterion(evaluate(check, make.terms()), "span_agreement").value is None


@pytest.mark.parametrize("text", ["W0 W3", "W0 W0"])
def test_in_the_agreement_the_weight_cancels(make, weights, steady, text):
    check = make.span(rounds_of(make, text), weights, instrument=steady)
    criterion = make.criterion(evaluate(check, make.terms()), "span_agreement")
    found = {row.source: row.contribution for row in criterion.budget}
    assert found == {
        "digitisation of loaded readings": pytest.approx(DIGIT * sqrt(2)),
        "digitisation of zero readings": pytest.approx(DIGIT * sqrt(2)),
        "repeatability": pytest.approx(0.0008 * sqrt(2)),
    }
    u = sqrt(2 * (2 * DIGIT**2 + 0.0008**2))
    degrees = u**4 / ((0.0008 * sqrt(2)) ** 4 / 9)
    assert criterion.degrees_of_freedom == pytest.approx(degrees, rel=1e-9)


def test_two_weights_do_not_cancel(make, weights):
    check = make.span(rounds_of(make, "W0 V0"), weights)
    criterion = make.criterion(evaluate(check, make.terms()), "span_agreement")
    sources = [row.source for row in criterion.budget if row.source.startswith("reference")]
    assert len(sources) == 2


def test_the_worst_group_is_judged(make, weights):
    # 0.001 before the adjustment, 0.005 after it: the second fails 3 mg.
    check = make.span(rounds_of(make, "W0 W1 A W4 W9"), weights)
    evaluation = evaluate(check, make.terms({"span_agreement": "3 mg"}))
    assert make.criterion(evaluation, "span_agreement").verdict == "fail"
    assert (evaluation.verdict_as_found, evaluation.verdict_as_left) == ("pass", "fail")


def test_an_agreement_that_cannot_be_computed_forbids_a_pass(make, weights):
    check = make.span(rounds_of(make, "W0"), weights)
    evaluation = evaluate(check, make.terms({"span_error": "2 mg", "span_agreement": "3 mg"}))
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "pass")


@pytest.mark.parametrize(
    ("text", "change"),
    [("W5 W7 A W1 W9", "-0.006"), ("W5 W7", None), ("A W1", None), ("W5 A W4 A W1", "-0.001")],
)
def test_the_change_from_as_found_to_as_left(make, weights, text, change):
    found = evaluate(make.span(rounds_of(make, text), weights), make.terms()).results
    got = found["change_by_adjustment"]
    assert (got and got["change"]) == (None if change is None else Decimal(change))


def test_adjustments_are_kept_and_never_judged(make):
    kept = make.round("W", "0", "99999", stage="adjustment", stable=False)
    left = make.round("W", "0", "50", stage="as-left")
    balance = make.balance(capacity="60")
    check = make.span([kept, left], [make.weight("W", "50")], instrument=balance)
    evaluation = evaluate(check, make.terms({"span_error": "2 mg"}))
    assert evaluation.verdict == "pass"
    assert [c.key for c in evaluation.criteria] == [
        "span_error[1]",
        "zero_return[1]",
        "span_agreement",
    ]


def test_too_few_rounds_forbid_a_pass_and_adjustments_do_not_count(make):
    weights = [make.weight("W", "50")]
    terms = make.terms(
        {"span_error": "2 mg"}, validity=Validity(rounds=AtLeast(Decimal(2), "no-pass"))
    )
    one = make.span([make.adjustment, make.round("W", "0", "50", stage="as-left")], weights)
    evaluation = evaluate(one, terms)
    assert make.findings(evaluation, "too-few-rounds") == [("no-pass", "/rounds")]
    assert evaluation.verdict == "void"
    bad = make.span([make.round("W", "0", "50.009")], weights)
    assert evaluate(bad, terms).verdict == "fail"


def test_overload_is_void_and_keeps_what_was_computed(make):
    check = make.span(
        [make.round("W", "0", "60.001")],
        [make.weight("W", "50")],
        instrument=make.balance(capacity="60"),
    )
    evaluation = evaluate(check, make.terms({"span_error": "2 mg"}))
    assert (evaluation.verdict, evaluation.verdict_if_valid) == ("void", "fail")
    assert evaluation.criteria[0].value == Decimal("10.001")
    assert evaluation.criteria[0].verdict == "fail"


def test_only_weights_in_use_are_remarked_on(make):
    idle = make.certified("idle", "20", "20", "0.0001", coverage_factor=None)
    check = make.span([make.round("W", "0", "50")], [make.weight("W", "50"), idle])
    evaluation = evaluate(check, make.terms())
    assert make.findings(evaluation, "coverage-factor-assumed") == []
    assert evaluation.criteria[0].degrees_of_freedom == inf
