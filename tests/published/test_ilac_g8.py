"""ILAC-G8:09/2019, decision rules 4.2.1 (simple), 4.2.2 (guard band), 4.2.3 (non-binary).

The rules were read in a copy of the guideline; Table 1 (guard bands and risks) is from memory, its
tails recompute from the normal distribution. The vectors in data/ were computed, not printed there.
"""

from decimal import Decimal
from fractions import Fraction
from math import inf
from typing import Any

import pytest

from weighworthy_service.checks.judging import decided
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.conformity import conformance_probability
from weighworthy_service.metrology.limits import Interval

RULES = {
    "simple": Decision("simple"),
    "guarded_U": Decision("guarded"),
    "guarded_1645u": Decision("guarded", guard_factor=Decimal("0.8225")),  # 1.645u = 0.8225 U
    "four_way": Decision("four-way"),
}
NO_ZONE = "no acceptance zone (U > T)"


@pytest.fixture(scope="module")
def vectors(data: Any) -> list[dict[str, Any]]:
    found = data("decision_vectors.json")["vectors"]
    assert len(found) == 16
    return found


@pytest.mark.parametrize("rule", RULES)
def test_vectors(vectors: list[dict[str, Any]], rule: str) -> None:
    seen = set()
    for vector in vectors:
        tolerance = Fraction(vector["T"])
        expected = vector[rule].replace(" ", "-") if vector[rule] != NO_ZONE else "fail"
        interval = Interval(-tolerance, tolerance)
        verdict = decided(Fraction(vector["e"]), Decimal(vector["U"]), interval, RULES[rule])
        assert verdict == expected, vector
        seen.add(verdict)
    assert {"pass", "fail"} <= seen


def test_no_acceptance_zone_is_said(make, vectors: list[dict[str, Any]], judged) -> None:
    """U above T: nothing can pass, and the answer says that it is the uncertainty's doing."""
    zoneless = [v for v in vectors if v["guarded_U"] == NO_ZONE]
    assert [(v["T"], v["U"], v["e"]) for v in zoneless] == [("1", "1.2", "0")]
    found = judged("0", 0.6, make.limit(within="1 g"), rule="guarded", coverage=Decimal("95.45"))
    assert found.criterion.expanded_uncertainty == Decimal("1.2")
    assert found.criterion.verdict == "fail"
    codes = {finding.code for finding in found.findings}
    assert {"uncertainty-exceeds-tolerance", "conformity-not-shown"} <= codes


def test_conformance_probabilities(vectors: list[dict[str, Any]]) -> None:
    for vector in vectors:
        tolerance = Fraction(vector["T"])
        u = float(vector["U"]) / 2
        interval = Interval(-tolerance, tolerance)
        p = conformance_probability(float(vector["e"]), u, inf, interval)
        assert p == pytest.approx(vector["p_c"], abs=1e-12), vector


def test_with_few_degrees_of_freedom() -> None:
    """T = 1, e = 0.8, u = 0.1, ν = 9: p_c = 0.961724 (computed), against 0.977250 for ν = ∞."""
    unit = Interval(Fraction(-1), Fraction(1))
    p = conformance_probability(0.8, 0.1, 9, unit)
    assert p == pytest.approx(0.961723576641034, abs=1e-12)


@pytest.mark.parametrize(
    ("multiple", "risk"),
    # Table 1 from memory: w as a multiple of U, largest risk of accepting what does not conform.
    [
        ("3", 9.9e-10),
        ("1.5", 0.00135),
        ("1", 0.02275),
        ("0.83", 0.0485),  # ISO 14253-1:2017
        ("0", 0.5),
    ],
)
def test_table_1_risks(multiple: str, risk: float) -> None:
    """At T - w, the last value that is accepted, with a one-sided limit and U = 2u."""
    limit, expanded = Fraction(100), Fraction(2)
    last = limit - Fraction(multiple) * expanded
    p = conformance_probability(float(last), 1.0, inf, Interval(None, limit))
    assert 1 - p == pytest.approx(risk, rel=0.005)
    rule = Decision("guarded", guard_factor=Decimal(multiple))
    assert decided(last, Decimal(2), Interval(None, limit), rule) == "pass"
    assert decided(last + Fraction(1, 10**9), Decimal(2), Interval(None, limit), rule) == "fail"


def test_limits_are_compared_in_decimals() -> None:
    """0.05 - 0.02 is 0.030000000000000002 in binary floats; 0.03 must pass all the same."""
    assert 0.05 - 0.02 != 0.03
    interval = Interval(Fraction("-0.05"), Fraction("0.05"))
    for sign in (1, -1):
        value = sign * Fraction("0.03")
        assert decided(value, Decimal("0.02"), interval, RULES["guarded_U"]) == "pass"
