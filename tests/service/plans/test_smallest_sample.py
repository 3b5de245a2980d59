"""The smallest sample against arithmetic written out here, and against simulated weighings."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats

D, S = 0.001, 0.0006
BALANCE = {"scale_interval": "1 mg", "repeatability": "0.6 mg", "capacity": "60 g"}


def by_hand(loss: float, heat: float = 0.0) -> float:
    """u·m of L = 100(I0 - I1)/I0 in %·g: dL/dI0 = 100(1 - l)/m, dL/dI1 = -100/m, zero 100 l/m."""
    left = 1 - loss
    each = (1 + left**2) * (D**2 / 12 + S**2)
    return 100 * sqrt(each + loss**2 * D**2 / 12 + heat**2 / 3)


@pytest.mark.parametrize("loss", [0.0, 0.05, 0.2, 0.9])
def test_closed_form(ask, loss) -> None:
    answer = ask(
        "sample", instrument=BALANCE, loss=f"{loss * 100:g} %", target_uncertainty="0.06 %"
    )
    # A third of 0.06 % is 0.02 %, and k = 2 as s counts as known.
    assert answer["allowed_uncertainty"] == 0.02
    assert answer["smallest_sample"]["smallest_mass"] == pytest.approx(2 * by_hand(loss) / 0.02)
    assert answer["smallest_sample"]["uncertainty_times_mass"] == pytest.approx(by_hand(loss))


def test_with_heat_and_few_observations(ask) -> None:
    """k of Student's t with ν by Welch and Satterthwaite; scipy's quantile."""
    balance = {**BALANCE, "repeatability_observations": 6, "hot_zero_drift": "2 mg"}
    answer = ask(
        "sample", instrument=balance, loss="10 %", target_uncertainty="0.1 %", share="50 %"
    )
    u = by_hand(0.1, 0.002)
    scatter = 100 * sqrt(1 + 0.9**2) * S
    degrees = u**4 / (scatter**4 / 5)
    k = stats.t.ppf(stats.norm.cdf(2), degrees)
    found = answer["smallest_sample"]
    assert found["coverage_factor"] == pytest.approx(k)
    assert found["smallest_mass"] == pytest.approx(k * u / 0.05)
    assert "/instrument/hot_zero_drift" not in [one["field"] for one in answer["assumed"]]


def test_a_cold_run_has_no_heat_in_it(ask) -> None:
    balance = {**BALANCE, "hot_zero_drift": "5 mg"}
    cold = ask("sample", instrument=balance, loss="10 %", target_uncertainty="0.1 %", heating=False)
    assert cold["smallest_sample"]["uncertainty_times_mass"] == pytest.approx(by_hand(0.1))


def test_dry_basis(ask) -> None:
    """L = 100(I0 - I1)/I1 at I0 = m, I1 = m/1.25: derivatives 100/I1, -100 I0/I1²."""
    answer = ask(
        "sample", instrument=BALANCE, loss="25 %", target_uncertainty="0.06 %", basis="dry"
    )
    first, second = 100 * 1.25, -100 * 1.25**2
    each = (first**2 + second**2) * (D**2 / 12 + S**2)
    u = sqrt(each + (first + second) ** 2 * D**2 / 12)
    assert answer["smallest_sample"]["uncertainty_times_mass"] == pytest.approx(u)


def test_simulated_results_scatter_as_told(ask) -> None:
    """A million results of that mass, from readings that round: tolerance four standard errors."""
    answer = ask("sample", instrument=BALANCE, loss="20 %", target_uncertainty="0.09 %")
    mass, loss, n = answer["smallest_sample"]["smallest_mass"], 0.2, 1_000_000
    draw = np.random.default_rng(20)
    zero = draw.uniform(-0.5, 0.5, n) * D
    shown = [
        np.round((of + zero + draw.normal(0, S, n)) / D) * D for of in (mass, mass * (1 - loss))
    ]
    results = 100 * (shown[0] - shown[1]) / shown[0]
    u = answer["allowed_uncertainty"] / 2
    assert np.mean(results) == pytest.approx(20, abs=4 * u / sqrt(n) + 1e-4)
    assert np.std(results) == pytest.approx(u, rel=4 / sqrt(2 * n) + 1e-3)


def test_of_a_given_mass(ask) -> None:
    answer = ask(
        "sample", instrument=BALANCE, loss="0 %", target_uncertainty="0.1 %", sample_masses=["5 g"]
    )
    (row,) = answer["at_masses"]
    assert row["expanded_uncertainty"] == pytest.approx(2 * by_hand(0) / 5)
    assert row["share"] == pytest.approx(2 * by_hand(0) / 5 / 0.1)


@pytest.mark.parametrize(
    ("stated", "pointer", "code"),
    [
        ({"instrument": {"scale_interval": "1 mg"}}, "/instrument/repeatability", "required"),
        ({"loss": "100 %"}, "/loss", "out-of-range"),
        ({"share": "101 %"}, "/share", "out-of-range"),
        ({"coverage": "100 %"}, "/coverage", "out-of-range"),
        ({"target_uncertainty": "0 %"}, "/target_uncertainty", "out-of-range"),
        ({"loss": "12"}, "/loss", "unit-missing"),
        ({"targets": "1 %"}, "/targets", "unknown-field"),
    ],
)
def test_refusals_name_the_field(ask, stated, pointer, code) -> None:
    body = {"loss": "10 %", "target_uncertainty": "0.1 %", **stated}
    problem = ask("sample", status=422, **body)
    assert (pointer, code) in [(e["pointer"], e["code"]) for e in problem["errors"]]


def test_above_the_capacity(ask) -> None:
    """0.01 % of k·u: 2·0.0849/0.0033 = 51 g and 0.001 % ten times that."""
    answer = ask("sample", instrument=BALANCE, loss="0 %", target_uncertainty="0.001 %")
    assert answer["weigh_at_least"] > 60
    assert any("above the capacity" in line for line in answer["because"])


@pytest.mark.parametrize(("rounding", "most"), [("nearest", "0.005 %"), ("down", "0.01 %")])
def test_rounding_of_the_display_is_told(ask, rounding, most) -> None:
    """Half a step of 0.01 %, or a whole one where the display cuts off."""
    balance = {**BALANCE, "loss_interval": "0.01 %", "loss_rounding": rounding}
    answer = ask("sample", instrument=balance, loss="10 %", target_uncertainty="0.1 %")
    assert any(f"off by up to {most} more" in line for line in answer["because"])
    plain = ask("sample", instrument=BALANCE, loss="10 %", target_uncertainty="0.1 %")
    assert answer["smallest_sample"] == plain["smallest_sample"]
