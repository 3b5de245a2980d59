"""Plans of simulated losses, against simulated balances and what can be worked out by hand."""

from math import sqrt

import numpy as np
import pytest

D, S, N = 0.001, 0.0006, 2_000_000
WINDOW = {"target": "12 g", "allowance": "0.1 g"}


@pytest.fixture(scope="module")
def tight(ask):
    """A tolerance that good balances often miss, so that there is something to count."""
    return ask(
        "simulated-loss",
        within="0.02 %",
        start_window=WINDOW,
        wanted_loss="16 %",
        loss_allowance="5 %",
        off_by="0.03 %",
        ratio="1",
        false_rejection="50 %",
    )


def share_accepted(lost: float) -> float:
    """Of simulated losses with 10 g and 2 g exactly, `lost` % of it off at the final reading."""
    draw = np.random.default_rng(7)
    zero = draw.uniform(-0.5, 0.5, N) * D
    shift = -lost * 12 / 100
    first = np.round((12 + zero + draw.normal(0, S, N)) / D) * D
    last = np.round((10 + shift + zero + draw.normal(0, S, N)) / D) * D
    error = 100 * (first - last) / first - 100 / 6
    return float(np.mean(np.abs(error) <= 0.02 + 1e-12))


def counted(chance: float) -> float:
    """Four standard deviations of a counted share, and the zero in twelve steps beside it."""
    return 4 * sqrt(chance * (1 - chance) / N) + 5e-4


def test_chances_are_those_of_simulated_balances(tight) -> None:
    (best,) = [o for o in tight["options"] if sorted(o["put_on"]) == ["A10", "A2"]]
    assert best["lift_off"] == ["A2"]
    for told, off in (
        (1 - best["false_rejection"]["one_set"], 0.0),
        (best["false_acceptance_at_limit"]["one_set"], 0.02),
        (best["false_acceptance"]["one_set"], 0.03),
    ):
        assert told == pytest.approx(share_accepted(off), abs=counted(told))
    assert best["false_acceptance"]["error"] == 0.03


def test_chances_have_no_digits_that_mean_nothing(ask) -> None:
    """100 U away a balance without error is never rejected: not with 4e-16 either."""
    answer = ask("simulated-loss", within="2 %", start_window=WINDOW, wanted_loss="16 %")
    assert answer["options"][0]["false_rejection"] == {"one_set": 0.0, "all_sets": 0.0}


def test_budget_and_ratio_by_hand(tight) -> None:
    """u² = (dL/dI0² + dL/dI1²)(d²/12 + s²) + (sum)² d²/12 + weights; 0.12 mg and 0.20 mg of F1.

    The weights: 100·10/144 %/g of the 2 g, 100·2/144 of the 10 g, apart, each mpe/√3.
    """
    (best,) = [o for o in tight["options"] if sorted(o["put_on"]) == ["A10", "A2"]]
    to_first, to_last = 100 * 10 / 144, -100 / 12
    readings = (to_first**2 + to_last**2) * (D**2 / 12 + S**2)
    zero = (to_first + to_last) ** 2 * D**2 / 12
    weights = ((100 * 10 / 144 * 0.12e-3) ** 2 + (100 * 2 / 144 * 0.20e-3) ** 2) / 3
    u = sqrt(readings + zero + weights)
    assert sum(row["contribution"] ** 2 for row in best["budget"]) == pytest.approx(u**2)
    # 2u = 0.01501 %, stated 0.016 %.
    assert 2 * u == pytest.approx(0.0146, abs=0.0003)
    assert best["expanded_uncertainty"] == 0.015
    assert best["tolerance_to_uncertainty"] == pytest.approx(0.02 / 0.015)
    assert sum(row["share"] for row in best["budget"]) == pytest.approx(1)


def test_reveals_by_hand(tight) -> None:
    """(A + 1.645·u_r)/|c|: acceptance limit 0.02 %, u_r of readings and zero, c = 100/12 %/g."""
    (best,) = [o for o in tight["options"] if sorted(o["put_on"]) == ["A10", "A2"]]
    to_first, to_last = 100 * 10 / 144, -100 / 12
    own = (to_first**2 + to_last**2) * (D**2 / 12 + S**2) + (to_first + to_last) ** 2 * D**2 / 12
    by_fault = {line["fault"]: line for line in best["reveals"]}
    smallest = (0.02 + 1.6448536 * sqrt(own)) / (100 / 12)
    assert by_fault["zero-change"]["smallest"] == pytest.approx(smallest)
    assert by_fault["constant-gain"]["smallest"] is None


def test_ranking(ask) -> None:
    """Nearest first, as it is stated; no option is bettered in everything by one before it."""
    answer = ask(
        "simulated-loss", within="0.2 %", start_window={"target": "13 g", "allowance": "3 g"},
        wanted_loss="20 %", show=20,
    )  # fmt: skip
    options = answer["options"]
    assert [o["rank"] for o in options] == list(range(1, len(options) + 1))
    far = [abs(o["expected_loss"] - 20) for o in options]
    assert far == sorted(far)
    assert all(not o["short_of"] for o in options)
    better = [
        (a, b)
        for i, a in enumerate(options)
        for b in options[:i]
        if b["tolerance_to_uncertainty"] >= a["tolerance_to_uncertainty"]
        and len(b["put_on"]) <= len(a["put_on"])
        and b["reveals"][0]["smallest"] <= a["reveals"][0]["smallest"]
    ]
    assert better == []


def test_what_falls_short_says_why(ask) -> None:
    answer = ask("simulated-loss", within="0.02 %", start_window=WINDOW)
    assert answer["options"] == []
    assert "less than 3" in answer["misses"][0]["short_of"][0]


def test_a_profile_in_place_of_a_tolerance(ask) -> None:
    profile = {
        "id": "mill", "revision": "1",
        "rules": [{"limits": {"loss_error": {"within": "0.06 %"}}, "start_window": WINDOW}],
    }  # fmt: skip
    answer = ask("simulated-loss", profile=profile, wanted_loss="16 %")
    assert answer["profile"]["id"] == "mill"
    assert answer["tolerance"]["upper_limit"] == 0.06
    assert answer["start_window"] == {"target": 12.0, "allowance": 0.1}
    toml = 'id = "mill"\nrevision = "1"\n[[rules]]\nlimits.loss_error = { within = "0.06 %" }\n'
    again = ask("simulated-loss", profile_toml=toml, wanted_loss="16 %", start_window=WINDOW)
    assert again["options"] == answer["options"]


def test_what_can_never_count_is_no_option(ask) -> None:
    """The profile wants weights in date, and none states a date."""
    profile = {
        "id": "mill", "revision": "1",
        "rules": [
            {"limits": {"loss_error": {"within": "0.06 %"}}, "start_window": WINDOW},
            {"validity": {"weights_in_date": "void"}},
        ],
    }  # fmt: skip
    answer = ask("simulated-loss", profile=profile, wanted_loss="16 %")
    assert answer["options"] == []
    assert answer["misses"][0]["false_rejection"] is None
    assert any("void" in why for why in answer["misses"][0]["short_of"])


def test_what_was_left_out_is_told(ask) -> None:
    many = {f"W{i:02}": {"nominal": "10 g", "weight_class": "OIML F1"} for i in range(20)}
    answer = ask(
        "simulated-loss", weights=many, within="0.2 %", weights_on_pan=3,
        start_window={"target": "20 g", "allowance": "0 g"},
    )  # fmt: skip
    # Twenty alike: one pair, of which one comes off.
    assert answer["search"]["combinations"] == 1
    assert any("19 of the weights are like" in one for one in answer["search"]["left_out"])


def test_what_has_no_limit_is_told(ask) -> None:
    """A limit in e, which the balance does not state; and bands that end below the start."""
    for limit, word in (
        ({"within": "1 e"}, "verification_interval"),
        ({"bands": [{"up_to": "5 g", "within": "0.1 %"}]}, "above the last band"),
    ):
        profile = {
            "id": "mill", "revision": "1",
            "rules": [{"limits": {"loss_error": limit}, "start_window": WINDOW}],
        }  # fmt: skip
        answer = ask("simulated-loss", profile=profile, wanted_loss="16 %")
        assert (answer["options"], answer["misses"]) == ([], [])
        assert any(word in one for one in answer["search"]["left_out"])


def test_a_display_too_coarse_for_the_weights(ask) -> None:
    balance = {"scale_interval": "40 g", "repeatability": "0.6 mg"}
    answer = ask(
        "simulated-loss", instrument=balance, within="10 %", start_window=WINDOW, wanted_loss="16 %"
    )
    assert answer["options"] == []
    assert any("must be greater than zero" in one for one in answer["search"]["left_out"])


@pytest.mark.parametrize(
    ("stated", "pointer", "code"),
    [
        ({}, "/within", "required"),
        ({"within": "0.1 %", "start_window": None}, "/start_window", "required"),
        ({"within": "1 mg"}, "/within", "unit-not-taken"),
        ({"within": "0.1 %", "profile": "weighworthy-general"}, "/within", "contradiction"),
        ({"within": "0.1 %", "weights": {}}, "/weights", "required"),
        ({"within": "0.1 %", "weights_on_pan": 7}, "/weights_on_pan", "out-of-range"),
        ({"within": "0.1 %", "decision": {"rule": "strict"}}, "/decision/rule", "not-one-of"),
        ({"within": "0.1 %", "decision": {"coverage": "120 %"}}, "/decision/coverage", None),
        ({"within": "0.1 %", "decision": {"guard_factor": "1"}}, "/decision/guard_factor", None),
        (
            {"within": "0.1 %", "weights": {"A": {"nominal": "10 g"}}},
            "/weights/A/weight_class",
            "weight-without-value",
        ),
    ],
)
def test_refusals_name_the_field(ask, stated, pointer, code) -> None:
    problem = ask("simulated-loss", status=422, **{"start_window": WINDOW, **stated})
    found = {e["pointer"]: e["code"] for e in problem["errors"]}
    assert pointer in found, problem
    assert code is None or found[pointer] == code
