"""JCGM 106:2012: conformance probability, guard bands, measurement capability.

Values read in the document's sources; more digits computed from the normal distribution.
"""

from decimal import Decimal
from fractions import Fraction
from math import inf

import pytest

from weighworthy_service.checks.judging import decided
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import t_quantile
from weighworthy_service.metrology.conformity import (
    acceptance_interval,
    conformance_probability,
    guard_band,
)
from weighworthy_service.metrology.limits import Interval

# Stands for Φ(2) - Φ(-2) = 95.44997 %: k = 2, and U = 2u in two digits.
TWO_SIGMA = Decimal("95.45")


# y, u, lower and upper limit, p_c as printed, p_c in full.
EXAMPLES = {
    "7.3 upper limit": (-5.47, 0.05, None, "-5.40", 0.92, 0.919243),
    "7.3 lower limit": (509.7, 8.6, "490", None, 0.99, 0.989010),
    "7.4 two limits": (13.6, 1.8, "12.5", "16.3", 0.66, 0.662630),
}


@pytest.mark.parametrize("example", EXAMPLES)
def test_conformance_probability(example: str) -> None:
    y, u, lower, upper, printed, full = EXAMPLES[example]
    interval = Interval(lower and Fraction(lower), upper and Fraction(upper))
    p = conformance_probability(y, u, inf, interval)
    assert p == pytest.approx(printed, abs=0.005)
    assert p == pytest.approx(full, abs=0.0000005)


def test_conformance_probability_of_a_criterion(make, judged) -> None:
    """7.4 through the engine, in g instead of mm²/s."""
    criterion = judged("13.6", 1.8, make.limit(lower="12.5 g", upper="16.3 g")).criterion
    assert criterion.conformance_probability == pytest.approx(0.662630, abs=0.0000005)
    assert criterion.verdict == "pass"


@pytest.mark.parametrize(
    ("p", "z", "full"),
    [
        (0.80, 0.84, 0.84162),
        (0.90, 1.28, 1.28155),
        (0.95, 1.64, 1.64485),
        (0.99, 2.33, 2.32635),
        (0.999, 3.09, 3.09023),
    ],
)
def test_table_1(p: float, z: float, full: float) -> None:
    """One-sided limit at z standard uncertainties: conformance probability p.

    Half the last digit is 0.005; 1.64485 is printed 1.64.
    """
    assert t_quantile(p, inf) == pytest.approx(z, abs=0.005)
    assert t_quantile(p, inf) == pytest.approx(full, abs=0.000005)
    at = conformance_probability(0.0, 1.0, inf, Interval(None, Fraction(str(full))))
    assert at == pytest.approx(p, abs=0.00001)


def test_7_6_capability_index(make, judged) -> None:
    """C_m = T/(4u) = E_max/U: ±1 with u = 0.1 has C_m = 5."""
    criterion = judged("0", 0.1, make.limit(within="1 g"), coverage=TWO_SIGMA).criterion
    assert criterion.expanded_uncertainty == Decimal("0.20")
    assert criterion.tolerance_to_uncertainty == 5


@pytest.mark.parametrize(
    ("y", "expected"),
    # p_c = Φ[4C_m(1 - ỹ)] - Φ(-4C_m·ỹ) with C_m = 1: 95 % from ỹ = 0.449053 to 0.550947 only.
    [(0.449053, 0.95), (0.550947, 0.95), (0.5, 0.954500)],
)
def test_7_7_poor_capability(y: float, expected: float) -> None:
    """Tolerance 0 to 1 with u = 1/4; printed: 0.45 ≤ ỹ ≤ 0.55 for p_c ≥ 95 %."""
    unit = Interval(Fraction(0), Fraction(1))
    assert conformance_probability(y, 0.25, inf, unit) == pytest.approx(expected, abs=0.0000005)
    assert conformance_probability(0.45, 0.25, inf, unit) >= 0.95
    assert conformance_probability(0.55, 0.25, inf, unit) >= 0.95
    assert conformance_probability(0.44, 0.25, inf, unit) < 0.95


@pytest.mark.parametrize(("expanded_half", "weak"), [(0.165, False), (0.17, True)])
def test_8_2_simple_acceptance_needs_a_third(make, judged, expanded_half, weak) -> None:
    """Legal metrology: simple acceptance is used where U ≤ E_max/3. U = 0.33 does, 0.34 not."""
    found = judged("0.5", expanded_half, make.limit(within="1 g"), coverage=TWO_SIGMA)
    assert found.criterion.expanded_uncertainty == Decimal(str(2 * expanded_half))
    assert ("weak-ratio" in {finding.code for finding in found.findings}) is weak


def test_8_2_exactly_a_third(make, judged) -> None:
    found = judged("0.5", 0.15, make.limit(within="0.9 g"), coverage=TWO_SIGMA)
    assert found.criterion.tolerance_to_uncertainty == 3
    assert found.findings == ()


def test_8_3_2_guard_band_of_u(make, judged) -> None:
    """w = U = 2u: whatever is accepted conforms with at least 97.7 %, a risk of 2.3 %."""
    rule = {"rule": "guarded", "coverage": TWO_SIGMA}
    on_edge = judged("0.8", 0.1, make.limit(upper="1 g"), **rule).criterion
    beyond = judged("0.8001", 0.1, make.limit(upper="1 g"), **rule).criterion
    assert (on_edge.verdict, beyond.verdict) == ("pass", "fail")
    assert 1 - on_edge.conformance_probability == pytest.approx(0.0227501, abs=0.00000005)


def test_two_limits_with_a_guard_band_that_is_too_wide(make, judged) -> None:
    """At C_m = 1 only the centre is accepted, with a risk of 4.55 %; wider, nothing is (computed).

    With w = 1.645u and U = 1.2 T the centre is accepted at a risk of 9.6 %: a finding says so.
    """
    centre = judged(
        "0", 0.5, make.limit(within="1 g"), rule="guarded", coverage=TWO_SIGMA
    ).criterion
    assert centre.verdict == "pass"
    assert 1 - centre.conformance_probability == pytest.approx(0.0455, abs=0.00005)
    wide = judged("0", 0.6, make.limit(within="1 g"), rule="guarded", coverage=TWO_SIGMA)
    assert wide.criterion.verdict == "fail"
    assert "uncertainty-exceeds-tolerance" in {finding.code for finding in wide.findings}
    narrow = {"rule": "guarded", "guard_factor": Decimal("0.8225"), "coverage": TWO_SIGMA}
    loose = judged("0", 0.6, make.limit(within="1 g"), **narrow)
    assert loose.criterion.verdict == "pass"
    assert 1 - loose.criterion.conformance_probability == pytest.approx(0.0956, abs=0.00005)
    assert "uncertainty-exceeds-tolerance" in {finding.code for finding in loose.findings}


def test_8_3_3_guarded_rejection_figures() -> None:
    """t for nine degrees of freedom, 95 % one-sided: 1.833; with s = 0.20, g = 0.37.

    The document adds g to the limit, 2.00 + 0.37 = 2.37, to prove an excess. We have no such rule:
    what is tested is the quantile, and our guard arithmetic with a factor of -1 beside it.
    """
    t = t_quantile(0.95, 9)
    assert t == pytest.approx(1.833113, abs=0.0000005)
    assert t * 0.20 == pytest.approx(0.37, abs=0.005)
    g = guard_band("guarded", Decimal(-1), Decimal("0.37"))
    assert acceptance_interval(Interval(None, Fraction(2)), g).upper == Fraction("2.37")
    # Speed limit 100 km/h, relative u 2 %, 99.9 %: v = 100/(1 - 0.02·3.09) = 106.588, printed 107.
    speed = 100 / (1 - 0.02 * t_quantile(0.999, inf))
    assert speed == pytest.approx(106.588, abs=0.0005)


@pytest.mark.parametrize("rule", ["simple", "guarded", "four-way"])
def test_decision_on_the_limit_is_inside(rule: str) -> None:
    """A tolerance interval includes its limits: y on T, and y on A, are decided as inside."""
    decision = Decision(rule=rule)
    interval = Interval(Fraction(-1), Fraction(1))
    expected = {"simple": "pass", "guarded": "fail", "four-way": "conditional-pass"}[rule]
    assert decided(Fraction(1), Decimal("0.2"), interval, decision) == expected
    assert decided(Fraction("0.8"), Decimal("0.2"), interval, decision) == "pass"
