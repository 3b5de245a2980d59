"""Ranges of bench cards against arithmetic by hand, and against evaluations of whole checks."""

from collections.abc import Callable
from copy import deepcopy
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.profiles.card import card_of
from weighworthy_service.profiles.card_check import card_request
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.resolve import terms_for

KIND = {kind.slug: kind for kind in KINDS}
D = Decimal("0.001")
# Certificates without deviation, so that the arithmetic beside the tests is about the limits.
# Right after an adjustment buoyancy counts with the density of the weight alone: of 8000 kg/m³ with
# nothing.
WEIGHTS = {
    "A50": ("50 g", "50 g"),
    "A20": ("20 g", "20 g"),
    "A10": ("10 g", "10 g"),
    "A2": ("2 g", "2 g"),
    "X50": ("50 g", "49.9995 g"),
}
INSTRUMENT = {"id": "MA-07", "scale_interval": "1 mg", "repeatability": "0 mg"}


def weights(**more: Any) -> dict[str, Any]:
    return {
        name: {
            "nominal": nominal,
            "conventional_mass": mass,
            "expanded_uncertainty": "0.001 mg",
            "coverage_factor": "2",
            "density": "8000 kg/m3",
            **more,
        }
        for name, (nominal, mass) in WEIGHTS.items()
    }


def body(slug: str, **more: Any) -> dict[str, Any]:
    loads: dict[str, dict[str, Any]] = {
        "span": {"load": (("A50",),)},
        "linearity": {"load": (("A2",), ("A10",), ("A20", "A10"), ("A50",))},
        "simulated-loss": {"initial": ("A10", "A2"), "final": ("A10",)},
    }
    return {
        "instrument": dict(INSTRUMENT),
        "weights": weights(),
        "occasion": "after-adjustment",
        **loads[slug],
        **more,
    }


@pytest.fixture
def card(document: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    """The card of a kind of check under a profile of the given rules."""

    def make(slug: str, *rules: dict[str, Any], **more: Any) -> dict[str, Any]:
        asked = body(slug, **more)
        profile = read_profile(document(*rules))
        day = asked.pop("performed_on", None)
        check = KIND[slug].form.load(card_request(KIND[slug], asked, asked)).check
        return card_of(KIND[slug], check, profile, version="0", performed_on=day)

    return make


def ranges(card: dict[str, Any], reading: str, verdict: str = "pass") -> list[tuple[Any, Any]]:
    return [
        (band["from"], band["to"])
        for row in card["readings"]
        if row["reading"] == reading
        for band in row["bands"]
        if band["verdict"] == verdict
    ]


def limit(**form: Any) -> dict[str, Any]:
    return {"limits": {"span_error": form}}


def test_simple_rule_with_a_limit_on_a_digit(card: Callable[..., dict[str, Any]]) -> None:
    # |I - 50| <= 3 mg, the ends included.
    found = card("span", limit(within="3 mg"))
    assert ranges(found, "indication") == [("49.997 g", "50.003 g")]
    assert found["can_pass"] is True


def test_deviation_of_the_weight_shifts_the_range(card: Callable[..., dict[str, Any]]) -> None:
    # 49.9995 g ± 3 mg: 49.9965 to 50.0025 g.
    found = card("span", limit(within="3 mg"), load=(("X50",),))
    assert ranges(found, "indication") == [("49.997 g", "50.002 g")]


@pytest.mark.parametrize(
    ("within", "expected"),
    [
        # u = sqrt(2) d / sqrt(12) = 0.408 mg, U = 0.8165 mg, stated 0.82 mg; what remains of
        # 3.82 mg is 3.00 mg, of 3.81 mg 2.99 mg.
        ("3.82 mg", ("49.997 g", "50.003 g")),
        ("3.81 mg", ("49.998 g", "50.002 g")),
    ],
)
def test_guard_band(
    card: Callable[..., dict[str, Any]], within: str, expected: tuple[str, str]
) -> None:
    found = card("span", limit(within=within), {"decision": {"rule": "guarded"}})
    assert ranges(found, "indication") == [expected]


def test_four_way_rule(card: Callable[..., dict[str, Any]]) -> None:
    # U = 0.82 mg as above: pass to 5 - 0.82 = 4.18 mg, conditional pass to 5 mg.
    found = card("span", limit(within="5 mg"), {"decision": {"rule": "four-way"}})
    assert ranges(found, "indication") == [("49.996 g", "50.004 g")]
    assert ranges(found, "indication", "conditional-pass") == [
        ("49.995 g", "49.995 g"),
        ("50.005 g", "50.005 g"),
    ]
    assert ranges(found, "indication", "conditional-fail") == []


def test_four_way_rule_that_leaves_nothing_without_condition(
    card: Callable[..., dict[str, Any]],
) -> None:
    # 0.8 mg - 0.82 mg < 0: the exact value alone is within 0.8 mg, on condition.
    found = card("span", limit(within="0.8 mg"), {"decision": {"rule": "four-way"}})
    assert ranges(found, "indication") == []
    assert ranges(found, "indication", "conditional-pass") == [("50.000 g", "50.000 g")]
    assert found["can_pass"] is False


def test_rounding_before_comparison(card: Callable[..., dict[str, Any]]) -> None:
    # Errors end in half a milligram: +-2.5 mg round half to even to +-2 mg, which passes.
    rounding = {"decision": {"rounding": "rounding", "rounding_to": "1 mg"}}
    at_half = {"load": (("X50",),)}
    found = card("span", limit(within="2 mg"), rounding, **at_half)
    assert ranges(found, "indication") == [("49.997 g", "50.002 g")]
    absolute = card("span", limit(within="2 mg"), **at_half)
    assert ranges(absolute, "indication") == [("49.998 g", "50.001 g")]


def test_limits_to_one_side_and_aside(card: Callable[..., dict[str, Any]]) -> None:
    assert ranges(card("span", limit(upper="2 mg")), "indication") == [(None, "50.002 g")]
    assert ranges(card("span", limit(lower="-2 mg")), "indication") == [("49.998 g", None)]
    # The range lies where the limits are, and the reference itself does not pass.
    found = card("span", limit(lower="10 mg", upper="20 mg"))
    assert ranges(found, "indication") == [("50.010 g", "50.020 g")]
    assert found["can_pass"] is True


def test_nothing_passes_above_the_capacity(card: Callable[..., dict[str, Any]]) -> None:
    instrument = {**INSTRUMENT, "capacity": "50.001 g"}
    found = card("span", limit(within="3 mg"), instrument=instrument)
    assert ranges(found, "indication") == [("49.997 g", "50.001 g")]


@pytest.mark.parametrize(
    ("interval", "within", "expected"),
    [
        ("5 mg", "12 mg", ("49.990 g", "50.010 g")),
        ("0.1 mg", "0.25 mg", ("49.9998 g", "50.0002 g")),
        ("0.02 g", "0.05 g", ("49.96 g", "50.04 g")),
        ("1 g", "2 g", ("48 g", "52 g")),
    ],
)
def test_digits_are_those_of_the_display(
    card: Callable[..., dict[str, Any]], interval: str, within: str, expected: tuple[str, str]
) -> None:
    instrument = {**INSTRUMENT, "scale_interval": interval}
    assert ranges(card("span", limit(within=within), instrument=instrument), "indication") == [
        expected
    ]


def test_zero_and_rounds_of_a_span_check(card: Callable[..., dict[str, Any]]) -> None:
    limits = {
        "span_error": {"within": "4 mg"},
        "zero_return": {"within": "2 d"},
        "span_agreement": {"within": "3 d"},
    }
    found = card("span", {"limits": limits})
    assert ranges(found, "zero_after") == [("-0.002 g", "0.002 g")]
    assert ranges(found, "difference") == [("0.000 g", "0.003 g")]
    # An agreement that may not go unjudged takes two rounds, and the card says so.
    assert any("2 times" in step["text"] for step in found["steps"])
    assert all(row["required"] for row in found["readings"])
    assert found["can_pass"] is True


def test_required_rounds(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", {**limit(within="4 mg"), "validity": {"rounds": {"at_least": 3}}})
    assert any("3 times" in step["text"] for step in found["steps"])
    assert "At least 3 rounds." in found["conditions"]
    assert found["can_pass"] is True


def test_stages_with_limits_of_their_own(card: Callable[..., dict[str, Any]]) -> None:
    stages = {"stages": ["as-left"], **limit(within="2 mg")}
    found = card("span", limit(within="4 mg"), stages, occasion="routine")
    by_stage = {row["stage"]: row["bands"][0]["from"] for row in found["readings"]}
    assert by_stage == {"as-found": "49.996 g", "as-left": "49.998 g"}


def test_buoyancy_counts_before_an_adjustment_and_not_after(
    card: Callable[..., dict[str, Any]],
) -> None:
    # 50 g x 0.1 x 1.2 / 8000 = 0.75 mg, u = 0.433 mg; with 0.408 mg: 0.595 mg, U = 1.2 mg (1.190).
    # 4.1 mg - 1.2 mg = 2.9 mg before; 4.1 mg - 0.82 mg = 3.28 mg after.
    found = card(
        "span", limit(within="4.1 mg"), {"decision": {"rule": "guarded"}}, occasion="routine"
    )
    by_stage = {row["stage"]: row["bands"][0]["to"] for row in found["readings"]}
    assert by_stage == {"as-found": "50.002 g", "as-left": "50.003 g"}


def test_linearity_has_a_range_for_each_load(card: Callable[..., dict[str, Any]]) -> None:
    bands = [{"up_to": "20 g", "within": "2 mg"}, {"up_to": "60 g", "within": "4 mg"}]
    found = card(
        "linearity",
        {"limits": {"point_error": {"bands": bands}, "hysteresis": {"within": "3 mg"}}},
        {"validity": {"points": {"at_least": 4}}},
    )
    assert ranges(found, "indication") == [
        ("1.998 g", "2.002 g"),
        ("9.998 g", "10.002 g"),
        ("29.996 g", "30.004 g"),
        ("49.996 g", "50.004 g"),
    ]
    assert [row["title"] for row in found["combined"]] == ["difference between down and up"]
    # The hysteresis has to be judged, so there are four points up and four down.
    assert any("downwards" in step["text"] for step in found["steps"])
    assert found["can_pass"] is True


def test_too_few_loads_for_the_profile(card: Callable[..., dict[str, Any]]) -> None:
    rule = {
        "limits": {"point_error": {"within": "2 mg"}},
        "validity": {"points": {"at_least": 5}},
    }
    found = card("linearity", rule)
    assert found["can_pass"] is False
    assert any("4 points of at least 5" in text for text in found["obstacles"])


def loss_rule(within: str = "0.04 %", **more: Any) -> dict[str, Any]:
    return {"limits": {"loss_error": {"within": within}}, **more}


def test_simulated_loss_for_each_start(card: Callable[..., dict[str, Any]]) -> None:
    found = card("simulated-loss", loss_rule())
    rows = {
        row["given"]: (row["bands"][0]["from"], row["bands"][0]["to"])
        for row in found["readings"]
        if row["reading"] == "final"
    }
    # I1 = I0 (1 - 1/6) within I0 x 0.0004: 10 g ± 4.8 mg at 12 g; 10.0025 g ± 4.8012 mg at
    # 12.003 g: 9.9976988 to 10.0073012 g.
    assert rows["12.000 g"] == ("9.996 g", "10.004 g")
    assert rows["12.003 g"] == ("9.998 g", "10.007 g")
    assert len(rows) == 9


def test_displayed_loss(card: Callable[..., dict[str, Any]]) -> None:
    # 16.6667 % ± 0.04 %: 16.6267 to 16.7067 %.
    fine = card("simulated-loss", loss_rule(), instrument={**INSTRUMENT, "loss_interval": "0.01 %"})
    assert ranges(fine, "displayed_loss") == [("16.63 %", "16.70 %")]
    coarse = card(
        "simulated-loss", loss_rule(), instrument={**INSTRUMENT, "loss_interval": "0.1 %"}
    )
    assert ranges(coarse, "displayed_loss") == [("16.7 %", "16.7 %")]
    assert ranges(card("simulated-loss", loss_rule()), "displayed_loss") == []


def test_dry_basis(card: Callable[..., dict[str, Any]]) -> None:
    # 100 (12 - I1)/I1 within 20 % ± 0.06 %: from 12/1.2006 = 9.995002 to 12/1.1994 = 10.005003 g.
    found = card("simulated-loss", loss_rule("0.06 %"), basis="dry")
    rows = {row["given"]: row["bands"][0] for row in found["readings"] if row["given"]}
    assert (rows["12.000 g"]["from"], rows["12.000 g"]["to"]) == ("9.996 g", "10.005 g")


def test_start_window_in_display_digits(card: Callable[..., dict[str, Any]]) -> None:
    # 12 g ± 2.5 mg holds 11.9975 to 12.0025 g.
    found = card(
        "simulated-loss", loss_rule(start_window={"target": "12 g", "allowance": "2.5 mg"})
    )
    assert ranges(found, "initial") == [("11.998 g", "12.002 g")]
    given = [row["given"] for row in found["readings"] if row["reading"] == "final"]
    assert given == ["11.998 g", "11.999 g", "12.000 g", "12.001 g", "12.002 g"]
    assert found["can_pass"] is True


def test_start_window_that_contradicts_the_weights(card: Callable[..., dict[str, Any]]) -> None:
    found = card("simulated-loss", loss_rule(start_window={"target": "10 g", "allowance": "1 g"}))
    assert found["can_pass"] is False
    assert any("outside" in text for text in found["obstacles"])


def test_limit_that_no_display_can_keep(card: Callable[..., dict[str, Any]]) -> None:
    # 16.66667 % at 12 g and 10 g; one digit is 0.0083 %. 12.001 g has no partner within 0.001 %:
    # 10.000833 g; the exact pair has.
    found = card("simulated-loss", loss_rule("0.001 %"))
    rows = {row["given"]: row["bands"] for row in found["readings"] if row["reading"] == "final"}
    assert rows["12.001 g"] == []
    assert [(b["from"], b["to"]) for b in rows["12.000 g"]] == [("10.000 g", "10.000 g")]


def test_weights_in_date(card: Callable[..., dict[str, Any]]) -> None:
    rule = {**limit(within="4 mg"), "validity": {"weights_in_date": "void"}}
    no_date = card("span", rule)
    assert no_date["can_pass"] is False
    assert any("states no due date" in text for text in no_date["obstacles"])
    dated = card("span", rule, weights=weights(due_on="2027-05-31"))
    assert dated["can_pass"] is True
    assert dated["valid_until"] == "2027-05-31"
    late = card("span", rule, weights=weights(due_on="2027-05-31"), performed_on=date(2027, 6, 1))
    assert late["can_pass"] is False
    assert any("due for calibration on 2027-05-31" in text for text in late["obstacles"])


def test_no_limit_is_no_pass(card: Callable[..., dict[str, Any]]) -> None:
    found = card("span", {"response": [{"step": "service"}]})
    assert found["readings"] == []
    assert found["can_pass"] is False
    assert found["obstacles"] == [
        "no criterion of this check could be held against a limit of the profile"
    ]


def test_what_the_profile_says_of_time_and_failure(card: Callable[..., dict[str, Any]]) -> None:
    found = card(
        "span",
        {"response": [{"step": "service"}]},
        {
            **limit(within="4 mg"),
            "instruments": ["MA-0*"],
            "validity": {"warm_up": {"at_least": "45 min"}, "stable": "void"},
            "schedule": {"every": "day", "at": "first-use", "grace": "2 h", "after": ["moved"]},
            "response": [{"step": "repeat", "times": 2}, {"step": "out-of-service"}],
        },
        {"instruments": ["MA-1*"], "response": [{"step": "adjust"}]},
    )
    assert [rung["step"] for rung in found["response"]] == ["repeat", "out-of-service"]
    assert "at most 2 times" in found["response"][0]["text"]
    assert found["schedule"] == "every day; at first-use; at most 2 h late; after: moved".replace(
        "first-use", "first use"
    )
    assert "The balance has been on for at least 45 min." in found["conditions"]
    assert found["can_pass"] is True


def verdict_of(slug: str, rules: list[dict[str, Any]], document: dict[str, Any]) -> str | None:
    profile = read_profile({"id": "kestrel-mill", "revision": "1", "rules": rules})
    check = KIND[slug].form.load(document).check
    return KIND[slug].evaluate(check, terms_for(profile, slug, check.circumstances)).verdict


decisions = st.sampled_from(
    [
        {"rule": "simple"},
        {"rule": "guarded"},
        {"rule": "guarded", "guard_factor": "0.5"},
        {"rule": "four-way"},
        {"rounding": "rounding", "rounding_to": "0.001 g"},
    ]
)
masses = st.integers(-900, 900).map(lambda n: f"{50 + n / 1_000_000:.6f} g")
sizes = st.integers(1, 200).map(lambda n: f"{n / 10:.1f} mg")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    decision=decisions,
    mass=masses,
    lower=sizes,
    upper=sizes,
    repeatability=st.sampled_from(["0 mg", "0.4 mg", "1.3 mg"]),
    interval=st.sampled_from(["1 mg", "2 mg", "0.1 mg"]),
)
def test_ends_of_a_span_range_pass_and_the_next_digits_do_not(
    *,
    decision: dict[str, Any],
    mass: str,
    lower: str,
    upper: str,
    repeatability: str,
    interval: str,
) -> None:
    rules = [
        {
            "checks": ["span"],
            "limits": {"span_error": {"lower": f"-{lower}", "upper": upper}},
            "decision": decision,
        }
    ]
    asked = body("span")
    asked["instrument"] |= {"repeatability": repeatability, "scale_interval": interval}
    asked["weights"] = deepcopy(asked["weights"])
    asked["weights"]["A50"]["conventional_mass"] = mass
    profile = read_profile({"id": "kestrel-mill", "revision": "1", "rules": rules})
    check = KIND["span"].form.load(card_request(KIND["span"], asked, asked)).check
    found = card_of(KIND["span"], check, profile, version="0")
    request = card_request(KIND["span"], asked, asked)
    request["rounds"][0]["stage"] = "as-left"
    step = Decimal(interval.removesuffix(" mg")) / 1000

    def verdict(value: Decimal) -> str | None:
        request["rounds"][0]["indication"] = f"{value} g"
        return verdict_of("span", rules, request)

    bands = ranges(found, "indication")
    assert found["can_pass"] is bool(bands)
    if not bands:
        middle = Decimal(50).quantize(step)
        assert all(verdict(middle + n * step) != "pass" for n in range(-30, 31))
    for first, last in bands:
        low, high = (Decimal(end.removesuffix(" g")) for end in (first, last))
        assert [verdict(low), verdict(high)] == ["pass", "pass"]
        assert "pass" not in (verdict(low - step), verdict(high + step))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    decision=decisions,
    within=st.integers(1, 30).map(lambda n: f"{n / 100:.2f} %"),
    basis=st.sampled_from(["wet", "dry"]),
    repeatability=st.sampled_from(["0 mg", "0.4 mg", "1.3 mg"]),
)
def test_ends_of_a_loss_range_pass_and_the_next_digits_do_not(
    decision: dict[str, Any], within: str, basis: str, repeatability: str
) -> None:
    if "rounding_to" in decision:
        decision = {**decision, "rounding_to": "0.01 %"}
    rules = [
        {
            "checks": ["simulated-loss"],
            "limits": {"loss_error": {"within": within}},
            "decision": decision,
        }
    ]
    asked = body("simulated-loss", basis=basis)
    asked["instrument"] |= {"repeatability": repeatability, "loss_interval": "0.01 %"}
    profile = read_profile({"id": "kestrel-mill", "revision": "1", "rules": rules})
    kind = KIND["simulated-loss"]
    check = kind.form.load(card_request(kind, asked, asked)).check
    found = card_of(kind, check, profile, version="0")
    request = card_request(kind, asked, asked)

    def verdict(initial: str | None, final: str | None, displayed: str | None) -> str | None:
        request["initial"]["indication"], request["final"]["indication"] = initial, final
        request["displayed_loss"] = displayed
        return verdict_of("simulated-loss", rules, request)

    seen = 0
    for row in found["readings"]:
        for band in row["bands"]:
            if band["verdict"] != "pass":
                continue
            seen += 1
            number, _, unit = band["from"].partition(" ")
            step = D if unit == "g" else Decimal("0.01")
            low, high = Decimal(number), Decimal(band["to"].partition(" ")[0])
            verdicts = [
                verdict(row["given"], f"{value} g", None)
                if unit == "g"
                else verdict(None, None, f"{value} %")
                for value in (low, high, low - step, high + step)
            ]
            assert verdicts[:2] == ["pass", "pass"]
            assert "pass" not in verdicts[2:]
    assert seen or not found["can_pass"]
