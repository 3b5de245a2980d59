"""The tightest honest tolerances: by hand, and against simulated balances on both sides of them."""

from math import sqrt

import numpy as np
import pytest

D, S, N = 0.001, 0.0006, 1_000_000
NO_RATIO = {"ratio": "0.5", "weights_share": "100 %"}


def planned(answer, criterion, put_on=None):
    (row,) = [
        one
        for one in answer["tolerances"]
        if one["criterion"] == criterion and (put_on is None or one["put_on"] == put_on)
    ]
    return row


def test_ratio_by_hand(ask) -> None:
    """Span with 50 g F1, before an adjustment: u² = 2 d²/12 + s² + (0.3/√3)² + buoyancy.

    Buoyancy: (0.3/4 + 50 000·0.1·1.2/8000)/√3 = 0.825/√3 mg. u = 0.8876 mg, U = 1.775 -> 1.8 mg.
    """
    u = sqrt(2 / 12 + 0.36 + 0.03 + 0.825**2 / 3)
    row = planned(ask("tolerance", loads={"span": [["A50"]]}), "span_error")
    assert sum(r["contribution"] ** 2 for r in row["budget"]) == pytest.approx((u / 1000) ** 2)
    assert row["expanded_uncertainty"] == 0.0018
    assert (row["limited_by"], row["within"]) == ("ratio", 0.0054)
    assert row["limit"] == {"within": "5.4 mg"}
    assert row["tolerance_to_uncertainty"] == 3


def test_guard_band_by_hand(ask) -> None:
    """With r = 2 the guard band is 3.6 mg, at most half of 7.2 mg."""
    decision = {"rule": "guarded", "guard_factor": "2"}
    row = planned(ask("tolerance", loads={"span": [["A50"]]}, decision=decision), "span_error")
    assert (row["limited_by"], row["within"]) == ("guard-band", 0.0072)


def test_weights_by_hand(ask, weights) -> None:
    """An M1 weight of 50 g may be off by 3 mg, a quarter of 12 mg; 3 U is less."""
    coarse = {**weights, "A50": {"nominal": "50 g", "weight_class": "OIML M1"}}
    answer = ask(
        "tolerance", loads={"span": [["A50"]]}, weights=coarse, ratio="1", weights_share="25 %"
    )
    row = planned(answer, "span_error")
    assert (row["limited_by"], row["within"]) == ("weights", 0.012)
    assert row["weights_error"] == 0.003


def test_rounding_by_hand(ask) -> None:
    """100 d/m = 0.00833 % of a loss from 12 g, on a balance that scatters not at all."""
    steady = {"scale_interval": "1 mg", "repeatability": "0 mg"}
    loads = {"simulated-loss": {"initial": ["A10", "A2"], "final": ["A10"]}}
    answer = ask("tolerance", instrument=steady, loads=loads, **NO_RATIO, false_rejection="60 %")
    row = planned(answer, "loss_error")
    assert (row["limited_by"], row["within"]) == ("rounding", 0.0084)


@pytest.mark.parametrize("asked", ["5 %", "0.3 %"])
def test_false_rejection_against_simulated_balances(ask, asked) -> None:
    """At the tolerance it is kept, at the next smaller one of two digits it is not.

    Weights without error (E1, so next to none), readings that round. Five standard deviations.
    """
    fine = {"A10": {"nominal": "10 g", "weight_class": "OIML E1"}}
    answer = ask(
        "tolerance", loads={"span": [["A10"]]}, weights=fine, false_rejection=asked, **NO_RATIO
    )
    row = planned(answer, "span_error")
    assert row["limited_by"] == "false-rejection"
    draw = np.random.default_rng(3)
    zero = draw.uniform(-0.5, 0.5, N) * D
    # What lasts beside the readings: weight 0.020 mg and buoyancy 10 g·0.1·1.2/8000 + mpe/4.
    lasting = sqrt(0.02**2 / 3 + (0.15 + 0.005) ** 2 / 3) / 1000
    load = 10 + zero + draw.normal(0, S, N) + draw.normal(0, lasting, N)
    error = np.round(load / D) * D - 10
    most = float(asked.split()[0]) / 100
    within = row["within"]
    rejected = float(np.mean(np.abs(error) > within + 1e-12))
    assert row["false_rejection"]["all_sets"] == pytest.approx(
        rejected, abs=5 * sqrt(rejected / N) + 2e-5
    )
    assert rejected < most + 5 * sqrt(most / N)
    # Of a display in whole milligrams the next smaller limit is the next smaller whole one.
    assert within == pytest.approx(round(within, 3))
    assert float(np.mean(np.abs(error) > within - D + 1e-12)) > most


def test_a_wanted_tolerance(ask) -> None:
    answer = ask("tolerance", loads={"span": [["A50"]]}, wanted={"span": "5 mg"})
    row = planned(answer, "span_error")
    assert row["wanted_is_honest"] is False
    assert row["buy"] is None or row["classes"]
    wide = ask("tolerance", loads={"span": [["A50"]]}, wanted={"span": "20 mg"})
    row = planned(wide, "span_error")
    assert row["wanted_is_honest"] is True
    # M1: U from u² = 0.5267 + 3² / 3 + ((3/4 + 0.75)/√3)² = 4.2767, 2u = 4.136 -> 4.2; 3 U = 12.6,
    # and 3 · 3 mg = 9; so 13 mg. M2: 10 mg / (1/3) = 30 mg.
    by_class = {one["weight_class"]: one["within"] for one in row["classes"]}
    assert by_class["OIML M1"] == 0.013
    assert row["buy"] == "OIML M1"


def test_no_class_helps(ask) -> None:
    """Readings alone make U = 2·√(2/12 + 0.36 + 0.75²/3) mg = 1.69 -> 1.7: never within 1 mg."""
    answer = ask("tolerance", loads={"span": [["A50"]]}, wanted={"span": "1 mg"})
    row = planned(answer, "span_error")
    assert row["buy"] is None
    assert "No class of weights helps" in row["buy_because"]
    assert "the balance" in row["buy_because"]


def test_no_class_has_such_a_weight(ask) -> None:
    odd = {
        "W30": {"nominal": "30 g", "conventional_mass": "30 g", "expanded_uncertainty": "0.1 mg"}
    }
    row = planned(ask("tolerance", loads={"span": [["W30"]]}, weights=odd), "span_error")
    assert row["classes"] == []
    assert "none is interpolated" in row["buy_because"]


def test_every_kind_and_load_once(ask) -> None:
    answer = ask(
        "tolerance",
        loads={
            "span": [["A50"], ["A20"]],
            "linearity": [["A5"], ["A20"], ["A20", "A10"]],
            "simulated-loss": {"initial": ["A10", "A2"], "final": ["A10"]},
        },
    )
    rows = [(row["criterion"], tuple(row["put_on"])) for row in answer["tolerances"]]
    assert sorted(rows) == sorted(
        [
            ("span_error", ("A50",)), ("span_error", ("A20",)), ("zero_return", ()),
            ("point_error", ("A5",)), ("point_error", ("A20",)), ("point_error", ("A20", "A10")),
            ("loss_error", ("A10", "A2")),
        ]
    )  # fmt: skip
    assert planned(answer, "zero_return")["buy_because"] == "No weight takes part in it."


def test_a_display_too_coarse_for_the_weights(ask) -> None:
    balance = {"scale_interval": "40 g", "repeatability": "0.6 mg"}
    loads = {"simulated-loss": {"initial": ["A10", "A2"], "final": ["A10"]}}
    problem = ask("tolerance", instrument=balance, loads=loads, status=422)
    (fault,) = problem["errors"]
    assert fault["pointer"] == "/loads/simulated-loss"


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [
        ({"loads": {}}, "/loads"),
        ({"loads": {"span": [["A9"]]}}, "/loads/span/0/0"),
        ({"loads": {"simulated-loss": {"initial": ["A10"]}}}, "/loads/simulated-loss/final"),
        ({"loads": {"heat": [["A10"]]}}, "/loads/heat"),
        ({"loads": {"span": [["A10"]]}, "wanted": {"span": "5 %"}}, "/wanted/span"),
        ({"loads": {"span": [["A10"], ["A10"], ["A10"]] * 5}}, "/loads"),
    ],
)
def test_refusals_name_the_field(ask, stated, pointer) -> None:
    problem = ask("tolerance", status=422, **stated)
    assert any(e["pointer"].startswith(pointer) for e in problem["errors"]), problem


@pytest.mark.parametrize("stays", [["A10", "A2"], ["A10", "A2", "m5"]])
def test_a_loss_that_its_tolerance_swallows_can_not_pass(ask, weights, stays) -> None:
    """The check itself says so (`loss-within-tolerance`); 5 mg of 12.005 g are 0.0416 %."""
    small = {**weights, "m5": {"nominal": "5 mg", "weight_class": "OIML F1"}}
    loads = {"simulated-loss": {"initial": ["A10", "A2", "m5"], "final": stays}}
    row = planned(ask("tolerance", loads=loads, weights=small), "loss_error")
    (said,) = row["void_by"]
    assert "showing no loss at all would pass" in said


def test_a_wanted_tolerance_no_smaller_than_the_loss_is_not_honest(ask) -> None:
    """16.67 % would pass a display that is stuck; half of that tells it."""
    loads = {"simulated-loss": {"initial": ["A10", "A2"], "final": ["A10"]}}
    for wanted, honest in (("17 %", False), ("8 %", True)):
        row = planned(
            ask("tolerance", loads=loads, wanted={"simulated-loss": wanted}), "loss_error"
        )
        assert row["wanted_is_honest"] is honest
        assert row["void_by"] == []
        assert ("showing no loss" in row["because"][-1]) is not honest


def test_a_scatter_of_nothing_is_said_to_be_a_lower_bound(ask) -> None:
    steady = {"scale_interval": "1 mg", "repeatability": "0 mg"}
    answer = ask("tolerance", instrument=steady, loads={"span": [["A50"]]})
    (said,) = [a for a in answer["assumed"] if a["field"] == "/instrument/repeatability"]
    assert "lower bound" in said["because"]


def test_a_wanted_tolerance_of_no_load_is_refused(ask) -> None:
    wanted = {"simulated-loss": "0.06 %"}
    answer = ask("tolerance", status=422, loads={"span": [["A50"]]}, wanted=wanted)
    (error,) = answer["errors"]
    assert error["pointer"] == "/wanted/simulated-loss"
