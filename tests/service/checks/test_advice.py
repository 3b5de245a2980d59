from decimal import Decimal
from fractions import Fraction

import pytest

from weighworthy_service.checks.advice import Advice
from weighworthy_service.checks.terms import Validity, WeightShare
from weighworthy_service.metrology.conformity import Tolerance
from weighworthy_service.metrology.limits import Interval


@pytest.fixture
def advice(make):
    """(code, severity) for a judged criterion with limits in mg around zero."""

    def of(expanded="0.5", *, half="2", degrees=10.0, weights="0", lower=True, **terms):
        limit = Fraction(Decimal(half)) / 1000
        value = terms.pop("value", "0")
        verdict = terms.pop("verdict", "pass")
        tolerance = Tolerance(Interval(-limit if lower else None, limit))
        weights_error = Fraction(Decimal(weights)) / 1000
        of_it = Advice(
            "span_error[0]", tolerance, weights_error, make.terms(**terms), ("rounds", 0)
        )
        inside = abs(Fraction(Decimal(value)) / 1000) <= limit
        found = of_it.on(Decimal(expanded) / 1000, degrees, verdict, inside=inside)
        found += of_it.settled
        assert all(f.field == "/rounds/0" for f in found)
        assert all(f.message.startswith("span_error[0]: ") for f in found)
        return [(f.code, f.severity) for f in found]

    return of


FEW = ("few-degrees-of-freedom", "warning")
WEAK = ("weak-ratio", "warning")
EXCEEDS = ("uncertainty-exceeds-tolerance", "warning")


def test_nothing_to_say(advice):
    assert advice() == []


@pytest.mark.parametrize(
    ("degrees", "found"), [(3.999, [FEW]), (4.0, []), (1.0, [FEW]), (3.9999999999999996, [])]
)
def test_few_degrees_of_freedom(advice, degrees, found):
    assert advice(degrees=degrees) == found


def test_they_are_told_of_unjudged_criteria_too(advice):
    assert advice(degrees=2.0, verdict=None) == [FEW]


@pytest.mark.parametrize(
    ("expanded", "found"),
    [
        ("0.66", []),  # 2/0.66 = 3.03
        ("0.5", []),
        ("0.67", [WEAK]),  # 2/0.67 = 2.99
        ("2", [WEAK]),
        ("2.1", [EXCEEDS]),
    ],
)
def test_under_simple_acceptance_a_weak_ratio_is_told(advice, expanded, found):
    assert advice(expanded) == found


def test_a_ratio_of_exactly_three_is_not_weak(advice):
    assert advice("0.5", half="1.5") == []


@pytest.mark.parametrize("rule", ["guarded", "four-way"])
def test_other_rules_carry_their_own_caution(advice, make, rule):
    assert advice("0.9", decision=make.decision(rule)) == []


def test_a_guard_band_wider_than_half_the_tolerance_leaves_nothing(advice, make):
    wide = make.decision("guarded", guard_factor="2")
    assert advice("1.0", decision=wide) == []  # w = 2 mg: the centre alone is accepted
    assert advice("1.1", decision=wide) == [EXCEEDS]


def test_a_profile_may_let_it_void(advice):
    strict = Validity(uncertainty_within_tolerance="void")
    assert advice("2.1", validity=strict) == [("uncertainty-exceeds-tolerance", "void")]


def test_one_side_alone_has_no_width(advice):
    assert advice("9", lower=False) == []


def test_a_guarded_fail_inside_the_tolerance_says_that_conformity_is_not_shown(advice, make):
    guarded = make.decision("guarded")
    not_shown = [("conformity-not-shown", "warning")]
    assert advice(value="1.9", verdict="fail", decision=guarded) == not_shown
    assert advice(value="2", verdict="fail", decision=guarded) == not_shown
    assert advice(value="2.1", verdict="fail", decision=guarded) == []
    assert advice(value="0", verdict="pass", decision=guarded) == []
    assert advice(value="1.9", verdict="conditional-pass", decision=make.decision("four-way")) == []


A_THIRD = Validity(weights_at_most=WeightShare(1, 3, "void"))


@pytest.mark.parametrize(
    ("weights", "found"), [("0.5", []), ("0.500001", [("weights-too-coarse", "void")])]
)
def test_weights_may_take_their_share_of_the_limit(advice, weights, found):
    # A third of 1.5 mg, the end included.
    assert advice("0.4", half="1.5", weights=weights, validity=A_THIRD) == found


def test_with_one_side_the_share_is_of_that_limit(advice):
    assert advice(half="1.5", weights="0.5", lower=False, validity=A_THIRD) == []
    assert advice(half="1.5", weights="0.6", lower=False, validity=A_THIRD) == [
        ("weights-too-coarse", "void")
    ]


def test_what_takes_all_of_the_tolerance_speaks_of_no_weights(make):
    """Heater checks, blank runs and reference materials have none."""
    tolerance = Tolerance(Interval(Fraction(-1), Fraction(1)))
    of_it = Advice("temperature_error", tolerance, Fraction(0), make.terms(), ("set_points", 0))
    (found,) = of_it.on(Decimal(2), 10.0, "pass", inside=True)
    assert found.code == "uncertainty-exceeds-tolerance"
    assert "weights" not in found.message
