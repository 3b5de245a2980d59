"""Repeatability held against the outside: USP <41>, NIST's data, scipy, EURAMET cg-18.

USP general chapter <41>, text of 2019, read in quotations and summaries, not in the chapter: ten
placings, twice the standard deviation is at most 0.10 % of the smallest net mass, and less than
0.41 d is replaced by 0.41 d. NIST: standard deviations of the univariate reference datasets, to all
digits that are certified, and the history of a check standard of 1 kg (NIST/SEMATECH e-Handbook,
2.3.5; public domain). cg-18 v4.0, 7.1.1.3, from memory: s of a single reading, n - 1.
"""

from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from scipy import stats

from weighworthy_service.checks.repeatability.check import Placing, RepeatabilityCheck
from weighworthy_service.checks.repeatability.evaluation import evaluate
from weighworthy_service.web.app import create_app


def answer(nets: list[str], d: str, nominal: str, **more: Any) -> Any:
    """Of net indications in g, a tared balance."""
    request = {
        "instrument": {"scale_interval": d},
        "weights": {"W": {"nominal": nominal}},
        "load": ["W"],
        "placings": [{"indication": f"{net} g"} for net in nets],
        **more,
    }
    response = create_app().test_client().post("/v1/checks/repeatability", json=request)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


# d in mg, s in mg, smallest net mass in g. The first row is the chapter's own example (quoted on a
# public page), the others are computed from its rule: 2000·max(s, 0.41 d).
USP_41 = [
    ("0.1", "0.15", 0.3),
    ("0.1", "0.03", 0.082),
    ("1", "0.2", 0.82),
    ("1", "1", 2.0),
]


@pytest.mark.parametrize(("d", "s", "smallest"), USP_41)
def test_smallest_net_mass_of_usp_41(d: str, s: str, smallest: float) -> None:
    """Ten placings, five each side of 10 g by a: s² = 10·a²/9, so a = 3·s/√10, to a ng."""
    a = (3 * Decimal(s) / Decimal(10).sqrt()).quantize(Decimal("1e-6"))
    nets = [str(10 + sign * a / 1000) for sign in (1, -1) * 5]
    found = answer(nets, f"{d} mg", "10 g")["results"]["smallest_net_mass"]
    assert found["value"] == pytest.approx(smallest, rel=1e-5)
    assert (found["factor"], found["share"], found["floor"]) == (2, 0.1, 0.41)


@pytest.mark.parametrize(("limit", "verdict"), [("0.82 g", "pass"), ("0.819999999 g", "fail")])
def test_the_least_that_anybody_may_claim_is_820_d(limit: str, verdict: str) -> None:
    rules = [{"limits": {"smallest_net_mass": {"upper": limit}}}]
    profile = {"id": "own", "revision": "1", "rules": rules}
    assert answer(["10.000"] * 10, "1 mg", "10 g", profile=profile)["verdict"] == verdict


@pytest.mark.parametrize(("n", "asks"), [(9, True), (10, False)])
def test_usp_41_asks_for_ten(n: int, asks: bool) -> None:
    found = answer(["10.000", "10.001"] * 4 + ["10.000"] * (n - 8), "1 mg", "10 g")
    codes = {finding["code"] for finding in found["findings"]}
    assert ("few-for-usp-41" in codes) is asks


@pytest.mark.parametrize(
    ("name", "d", "nominal"), [("Mavro", "0.01 mg", "2 g"), ("Michelso", "10 mg", "300 g")]
)
def test_certified_standard_deviations(data: Any, name: str, d: str, nominal: str) -> None:
    """Fifty and a hundred readings; the service shows all 15 certified digits."""
    certified = data("nist_strd.json")[name]
    results = answer(certified["y"], d, nominal)["results"]
    assert results["observations"] == int(certified["n"])
    assert results["standard_deviation"]["value"] == float(certified["sd"])
    assert results["mean"] == float(certified["mean"])


@pytest.mark.parametrize("n", [5, 10, 33, 100])
def test_nist_check_standard(data: Any, n: int) -> None:
    """The first n results on a standard of 1 kg, some 19.5 mg below its nominal mass."""
    rows = data("nist_mass_check_standard.json")["rows"][:n]
    nets = [Decimal(1000) + Decimal(value) / 1000 for _, value, _ in rows]
    results = answer([str(net) for net in nets], "0.00001 mg", "1 kg")["results"]
    # From 1 kg on, where doubles have digits enough.
    off = np.array([float(net - 1000) for net in nets])
    said, s = results["standard_deviation"], np.std(off, ddof=1)
    assert said["value"] == pytest.approx(s, rel=1e-9)
    low, high = np.sqrt((n - 1) * s**2 / stats.chi2.ppf([0.975, 0.025], n - 1))
    assert (said["lower"], said["upper"]) == pytest.approx((low, high), rel=1e-9)
    line = stats.linregress(np.arange(n), off)
    drift = results["drift"]
    assert drift["slope"] == pytest.approx(line.slope, rel=1e-7)
    assert drift["standard_uncertainty"] == pytest.approx(line.stderr, rel=1e-7)
    assert drift["significant"] == (line.pvalue < 0.05)


def test_the_interval_holds_the_true_scatter_95_times_of_100(make: Any) -> None:
    """Normal scatter of 5 d, which rounding hardly shifts; 400 sittings of six placings."""
    random = np.random.default_rng(20260316)
    here, held = make.circumstances(make.instrument("0.001"), [make.weight("W", "10")]), 0
    for _ in range(400):
        steps = [int(step) for step in np.round(10_000 + 5 * random.standard_normal(6))]
        placings = tuple(Placing(Decimal(step).scaleb(-3)) for step in steps)
        results = evaluate(RepeatabilityCheck(here, ("W",), placings), make.terms()).results
        said = results["standard_deviation"]
        held += said["lower"] <= 0.005 <= said["upper"]
    # 380 expected, with a standard deviation of √(400·0.95·0.05) = 4.4.
    assert 366 <= held <= 394


def test_what_is_declared_enters_other_budgets_as_in_cg_18() -> None:
    """s of a single reading with n - 1 degrees of freedom, in the budget of a span error."""
    nets = ["10.000", "10.001", "10.002", "10.001", "10.001", "10.000", "10.002"]
    declared = answer(nets, "1 mg", "10 g")["results"]["declare"]["instrument"]
    s = np.std([0, 1, 2, 1, 1, 0, 2], ddof=1)
    request = {
        "instrument": {"scale_interval": "1 mg", **declared},
        "weights": {"W": {"nominal": "10 g", "weight_class": "OIML F1"}},
        "rounds": [{"load": ["W"], "zero": "0 g", "indication": "10.000 g"}],
    }
    span = create_app().test_client().post("/v1/checks/span", json=request).get_json()
    (row,) = (r for r in span["criteria"][0]["budget"] if r["source"] == "repeatability")
    # Three digits, rounded up.
    assert 0 <= row["standard_uncertainty"] * 1000 - s < 0.001
    assert row["degrees_of_freedom"] == 6
