"""What a card says before anybody has weighed: whether the check can count, pass, and let use."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.card import card_of
from weighworthy_service.profiles.card_check import card_request
from weighworthy_service.profiles.reading import read_profile

KIND = {kind.slug: kind for kind in KINDS}
LOADS: dict[str, dict[str, Any]] = {
    "span": {"load": (("A50",),)},
    "linearity": {"load": (("A2",), ("A10",), ("A50",))},
    "simulated-loss": {"initial": ("A10", "A2"), "final": ("A10",)},
}
SPAN = {"checks": ["span"], "limits": {"span_error": {"within": "4 mg"}}}
LOSS = {"checks": ["simulated-loss"], "limits": {"loss_error": {"within": "0.05 %"}}}


@pytest.fixture
def card(document: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    def make(
        slug: str,
        *rules: dict[str, Any],
        due: str | None = "2027-05-31",
        day: date | None = None,
        instrument: dict[str, Any] | None = None,
        use_on: tuple[str, ...] = ("pass", "conditional-pass"),
        **loads: Any,
    ) -> dict[str, Any]:
        weight = {"weight_class": "OIML E2", **({} if due is None else {"due_on": due})}
        asked = {
            "instrument": {"scale_interval": "1 mg", "repeatability": "0 mg", **(instrument or {})},
            "weights": {f"A{n}": {"nominal": f"{n} g", **weight} for n in (1, 2, 10, 50)},
            **(loads or LOADS[slug]),
        }
        check = KIND[slug].form.load(card_request(KIND[slug], asked, asked)).check
        profile = read_profile(document(*rules, use_on=list(use_on)))
        return card_of(KIND[slug], check, profile, version="0", performed_on=day)

    return make


def said(card: dict[str, Any]) -> tuple[Any, ...]:
    return (card["at_best"], card["usable"], card["spoils"], card["can_pass"])


def test_check_that_can_pass(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", SPAN)
    assert said(found) == ("pass", True, None, True)
    assert (found["obstacles"], found["remedies"]) == ([], [])
    assert [reading["elsewhere"] for reading in found["readings"]] == [["fail"]]


@pytest.mark.parametrize("slug", ["span", "simulated-loss"])
def test_weights_out_of_date_make_every_display_void(
    card: Callable[..., dict[str, Any]], slug: str
) -> None:
    window = {**LOSS, "start_window": {"target": "12 g", "allowance": "0.5 g"}}
    found = card(slug, SPAN, window, day=date(2027, 6, 1))
    assert said(found) == ("void", False, "void", False)
    assert found["obstacles"][0].endswith("was due for calibration on 2027-05-31")
    assert "Use weights that are in date" in found["remedies"][0]
    assert not any("in date" in text for text in found["conditions"])
    # Not even the start window says "go on", and nothing outside is a fail.
    assert all(reading["bands"] == [] for reading in found["readings"])
    assert {tuple(reading["elsewhere"]) for reading in found["readings"]} == {("void",)}


def test_due_date_that_is_asked_for_and_not_stated(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", SPAN, {"validity": {"weights_in_date": "void"}}, due=None)
    assert said(found) == ("void", False, "void", False)
    assert "the date entered of the next calibration of A50" in found["remedies"][0]


def test_no_pass_leaves_a_fail_a_fail(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", SPAN, {"validity": {"weights_in_date": "no-pass"}}, due=None)
    assert said(found) == ("void", False, "no-pass", False)
    assert found["readings"][0]["elsewhere"] == ["fail", "void"]


def test_warning_leaves_the_check_alone(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", SPAN, {"validity": {"weights_in_date": "warning"}}, due=None)
    assert said(found) == ("pass", True, None, True)
    assert any("states no due date" in warning["message"] for warning in found["warnings"])


@pytest.mark.parametrize(
    ("rule", "loads", "remedy"),
    [
        (
            {**LOSS, "start_window": {"target": "10 g", "allowance": "1 g"}},
            LOADS["simulated-loss"],
            "start window",
        ),
        (LOSS, {"initial": ("A50", "A10", "A2"), "final": ("A50", "A10")}, "can weigh"),
        ({**LOSS, "limits": {"loss_error": {"within": "20 %"}}}, LOADS["simulated-loss"], "larger"),
    ],
)
def test_loss_that_cannot_count(
    card: Callable[..., dict[str, Any]], rule: dict[str, Any], loads: dict[str, Any], remedy: str
) -> None:
    found = card("simulated-loss", rule, instrument={"capacity": "60 g"}, **loads)
    assert (found["at_best"], found["usable"]) == ("void", False)
    assert remedy in found["remedies"][0]


def test_limits_that_leave_nothing(card: Callable[..., dict[str, Any]]) -> None:
    # No multiple of 1 mg lies from 0.2 to 0.8 mg.
    rule = {"checks": ["span"], "limits": {"span_error": {"lower": "0.2 mg", "upper": "0.8 mg"}}}
    found = card("span", rule)
    assert said(found) == ("fail", False, None, False)
    assert "Span error: its limits leave no displayed value that passes" in found["obstacles"][0]


def test_reading_that_nobody_has_to_take(card: Callable[..., dict[str, Any]]) -> None:
    zero = {"lower": "0.2 mg", "upper": "0.8 mg"}
    limits = {**SPAN["limits"], "zero_return": {**zero, "when_present": True}}  # type: ignore[dict-item]
    assert card("span", {"checks": ["span"], "limits": limits})["can_pass"] is True
    limits = {**SPAN["limits"], "zero_return": zero}  # type: ignore[dict-item]
    assert card("span", {"checks": ["span"], "limits": limits})["at_best"] == "fail"


def test_at_best_on_condition(card: Callable[..., dict[str, Any]]) -> None:
    # U is above 0.8 mg: two roundings of 1 mg alone give 2 sqrt(2/12) mg = 0.82 mg.
    rule = {"checks": ["span"], "limits": {"span_error": {"within": "0.8 mg"}}}
    four_way = {"decision": {"rule": "four-way"}}
    assert said(card("span", rule, four_way)) == ("conditional-pass", True, None, False)
    strict = card("span", rule, four_way, use_on=("pass",))
    assert said(strict) == ("conditional-pass", False, None, False)
    assert strict["readings"][0]["elsewhere"] == ["conditional-fail", "fail"]


def test_one_start_that_can_pass_is_enough(card: Callable[..., dict[str, Any]]) -> None:
    # 12.000 to 10.000 g is exact; no other start within 4 mg has a partner within 0.001 %.
    found = card("simulated-loss", {**LOSS, "limits": {"loss_error": {"within": "0.001 %"}}})
    assert said(found) == ("pass", True, None, True)


def test_limits_on_the_run_that_suit_a_perfect_balance(card: Callable[..., dict[str, Any]]) -> None:
    # All errors in the middle of -1 to 5 mg, at +2 mg, would depart by 1.92 mg from the line
    # through zero and the highest load at 2 g; errors of nothing depart by nothing.
    limits = {
        "point_error": {"lower": "-1 mg", "upper": "5 mg"},
        "terminal_nonlinearity": {"within": "1 mg"},
    }
    found = card("linearity", {"checks": ["linearity"], "limits": limits})
    assert found["can_pass"] is True


def test_displays_above_the_capacity_are_no_fail(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", SPAN, instrument={"capacity": "50.002 g"})
    (reading,) = found["readings"]
    assert (reading["bands"][0]["from"], reading["bands"][0]["to"]) == ("49.996 g", "50.002 g")
    assert reading["elsewhere"] == ["fail", "void"]


def test_nothing_judged(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", LOSS)
    assert said(found) == (None, False, None, False)
    assert "limit set for this check" in found["remedies"][0]
    assert "person responsible" in found["remedies"][-1]


def test_figures_of_both_stages(card: Callable[..., dict[str, Any]]) -> None:
    # Before an adjustment buoyancy adds 50 g x 0.1 x 1.2 / 8000 = 0.75 mg over sqrt(3), which
    # leaves the range under a simple rule alone and makes U larger.
    (reading,) = card("span", SPAN)["readings"]
    assert reading["stage"] is None
    before = reading["criterion"]["expanded_uncertainty"]
    assert reading["criterion_as_left"]["expanded_uncertainty"] < before


def test_only_what_differs_is_said_by_stage(card: Callable[..., dict[str, Any]]) -> None:
    limits = {**SPAN["limits"], "zero_return": {"within": "2 mg"}}  # type: ignore[dict-item]
    after = {"stages": ["as-left"], "limits": {"span_error": {"within": "2 mg"}}}
    found = card("span", {"checks": ["span"], "limits": limits}, {"checks": ["span"], **after})
    assert [(row["reading"], row["stage"], row["bands"][0]["to"]) for row in found["readings"]] == [
        ("indication", "as-found", "50.004 g"),
        ("zero_after", None, "0.002 g"),
        ("indication", "as-left", "50.002 g"),
    ]


def test_a_rehearsed_check_is_not_blamed_for_its_few_readings(
    document: Callable[..., dict[str, Any]],
) -> None:
    """Of three runs that are asked for, its card knows one; the condition says how many."""
    kind, asked = KIND["blank-run"], KIND["blank-run"].example["request"]
    check = kind.form.load({**asked, "runs": [{"initial": "0 g", "final": "0 g"}]}).check
    rule = {
        "limits": {"zero_change": {"within": "5 mg"}},
        "validity": {"runs": {"at_least": 3, "else": "no-pass"}},
    }
    found = card_of(kind, check, read_profile(document(rule)), version="0")
    assert said(found) == ("pass", True, None, True)
    assert "At least 3 runs." in found["conditions"]
