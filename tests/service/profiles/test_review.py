"""Remarks of a review: each with its cause, its severity and its place; none where all is well."""

import re
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.simulated_loss.rehearsal import LossLoads
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.review import Review, review

MG = Decimal("0.001")
WEIGHTS = {
    name: ReferenceWeight(name, Decimal(g), weight_class="OIML E2")
    for name, g in {"A2": 2, "A10": 10, "A50": 50}.items()
}
LOSS = LossLoads(("A10", "A2"), ("A10",))
LOADS = {"span": (("A50",),), "linearity": (("A2",), ("A50",)), "simulated-loss": LOSS}


def balance(
    id_: str = "MA-01", *, s: str | None = "0.05", d: str = "0.1", **more: Any
) -> Circumstances:
    """d and s in mg; the eccentricity is that of a good balance."""
    instrument = Instrument(
        Decimal(d) * MG, id=id_, repeatability=s and Decimal(s) * MG, site="harbour", **more
    )
    return Circumstances(instrument, WEIGHTS)


@pytest.fixture
def reviewed(document):
    def find(*rules: dict[str, Any], balances=None, loads=LOADS, **more: Any) -> Review:
        sittings = [balance()] if balances is None else balances
        return review(read_profile(document(*rules, **more)), sittings, loads)

    return find


def said(found: Review) -> list[tuple[str, str, str]]:
    return [
        (r.severity, r.code, (r.rule.origin.pointer if r.rule else "") + "/".join(("", *r.path)))
        for r in found.remarks
    ]


def loss(within: str, **more: Any) -> dict[str, Any]:
    return {"checks": ["simulated-loss"], "limits": {"loss_error": {"within": within}}, **more}


def test_nothing_to_say_of_a_sound_profile(reviewed) -> None:
    rules = [
        loss("0.02 %", start_window={"target": "12 g", "allowance": "0.5 g"}),
        {"checks": ["span"], "limits": {"zero_return": {"within": "1 mg"}}},
        {"checks": ["linearity"], "limits": {"point_error": {"within": "5 mg"}}},
    ]
    found = reviewed(*rules)
    assert said(found) == []
    assert {j.row.check for j in found.judgement} == {"span", "linearity", "simulated-loss"}


def test_without_balances_only_the_document_is_reviewed(reviewed) -> None:
    found = reviewed(loss("0.03 %"), loss("0.02 %"), balances=[])
    assert said(found) == [("warning", "rule-overruled", "/rules/0")]
    assert found.judgement == ()


def test_a_loss_limit_below_the_rounding_of_readings(reviewed) -> None:
    """100·0.1 mg/12 g = 0.000833 %."""
    found = reviewed(loss("0.0008 %"))
    assert said(found) == [("error", "limit-below-rounding", "/rules/0/limits/loss_error")]
    (remark,) = found.remarks
    assert "MA-01" in remark.message
    assert "0.0008333 %" in remark.message
    assert not found.judgement[0].row.attainable


@pytest.mark.parametrize(
    ("target", "allowance", "more", "expected"),
    [
        ("12 g", "0 g", {}, []),
        ("12.5 g", "0.5 g", {}, []),  # the ends are inside
        ("12.6 g", "0.5 g", {}, [("error", "start-window-contradicts-weights")]),
        ("12.6 g", "0.5 g", {"else": "warning"}, [("warning", "start-window-contradicts-weights")]),
        (
            "80 g",
            "1 g",
            {},
            [
                ("error", "start-window-contradicts-weights"),
                ("error", "start-window-above-capacity"),
            ],
        ),
    ],
)
def test_start_windows(reviewed, target, allowance, more, expected) -> None:
    window = {"target": target, "allowance": allowance, **more}
    found = reviewed(loss("0.02 %", start_window=window), balances=[balance(capacity=Decimal(60))])
    assert [(s, c) for s, c, _ in said(found)] == expected
    assert {place for *_, place in said(found)} <= {"/rules/0/start_window"}


@pytest.mark.parametrize(
    ("limit", "balance_of", "code"),
    [
        ({"lower": "1 mg", "upper": "2 mg"}, {}, "limit-excludes-zero"),
        ({"within": "0.09 mg"}, {}, "limit-finer-than-display"),
        ({"within": "0.5 mg"}, {"s": "0.3"}, "uncertainty-exceeds-tolerance"),
        ({"within": "0.5 mg"}, {"s": "0.1"}, "weak-ratio"),
        ({"within": "0.5 mg"}, {"s": "0.4"}, "good-balances-fail"),
        ({"within": "1 e"}, {}, "not-stated"),
    ],
)
def test_limits_of_a_mass(reviewed, limit, balance_of, code) -> None:
    """The zero return has only d and s: 0.1 mg/√6 = 0.041 mg, and s."""
    rule = {"checks": ["span"], "limits": {"zero_return": limit}}
    found = reviewed(rule, balances=[balance(**balance_of)])
    assert code in [c for _, c, _ in said(found)]


def test_a_failure_that_will_come_within_the_year(reviewed) -> None:
    """s = 0.15 mg and d = 0.1 mg: acts at 0.45 mg, u = √(0.15² + 0.1²/12) = 0.15275 mg: 0.32 %.

    365 times: 1 - 0.9968^365 = 69 %; 52 times: 15 %.
    """
    rule = {"checks": ["span"], "limits": {"zero_return": {"within": "0.4 mg"}}}
    noisy = [balance(s="0.15")]
    daily = reviewed({**rule, "schedule": {"every": "day"}}, balances=noisy)
    (remark,) = (r for r in daily.remarks if r.code == "good-balances-fail")
    assert "of the 365 checks" in remark.message
    assert "69 %" in remark.message
    weekly = reviewed({**rule, "schedule": {"every": "week"}}, balances=noisy)
    assert "good-balances-fail" not in [r.code for r in weekly.remarks]


def test_a_guard_band_that_takes_all(reviewed) -> None:
    rule = {
        "checks": ["span"],
        "limits": {"zero_return": {"within": "0.5 mg"}},
        "decision": {"rule": "guarded"},
    }
    found = reviewed(rule, balances=[balance(s="0.4")])
    assert said(found) == [("error", "limit-not-attainable", "/rules/0/limits/zero_return")]
    assert "guard band" in found.remarks[0].message


def test_a_displayed_loss_coarser_than_its_limit(reviewed) -> None:
    coarse = [balance(loss_interval=Decimal("0.05"))]
    assert "limit-finer-than-display" in [
        c for _, c, _ in said(reviewed(loss("0.02 %"), balances=coarse))
    ]
    fine = [balance(loss_interval=Decimal("0.01"))]
    assert said(reviewed(loss("0.02 %"), balances=fine)) == []


def bare(weights: dict[str, Any]) -> dict[str, ReferenceWeight]:
    """WEIGHTS with other details."""
    return {name: replace(weight, **weights) for name, weight in WEIGHTS.items()}


ZERO_RETURN = {"checks": ["span"], "limits": {"zero_return": {"within": "1 mg"}}}


def test_undated_weights_make_every_check_void(reviewed) -> None:
    rules = [ZERO_RETURN, {"validity": {"weights_in_date": "void"}}]
    found = reviewed(*rules)
    place = "/rules/1/validity/weights_in_date"
    assert said(found) == [("error", "not-stated", place)]
    assert "A50 states no due date; every such span check is void" in found.remarks[0].message
    (row,) = (judged.row for judged in found.judgement)
    assert row.void_by == ("not-stated",)
    assert (row.false_rejection, row.false_acceptance, row.risks) == (None, None, None)
    # A profile that merely wants to warn voids nothing.
    found = reviewed(ZERO_RETURN, {"validity": {"weights_in_date": "warning"}})
    assert said(found) == []
    assert found.judgement[0].row.void_by == ()


def test_a_void_check_fails_nobody_within_the_year(reviewed) -> None:
    schedule = {"validity": {"weights_in_date": "void"}, "schedule": {"every": "day"}}
    assert reviewed(ZERO_RETURN, schedule).judgement[0].row.yearly is None


@pytest.mark.parametrize(
    ("due", "performed", "expected"),
    [
        ("2026-04-01", None, []),
        ("2026-04-01", "2026-04-01", []),
        ("2026-03-31", "2026-04-01", [("error", "weight-overdue", "/rules/0/limits/zero_return")]),
    ],
)
def test_weights_out_of_date_on_the_day(reviewed, due, performed, expected) -> None:
    """Overdue weights void a check whether or not a profile asks for it."""
    at = None if performed is None else datetime.fromisoformat(f"{performed}T12:00:00+00:00")
    dated = replace(balance(), weights=bare({"due_on": date.fromisoformat(due)}), performed_at=at)
    assert said(reviewed(ZERO_RETURN, balances=[dated])) == expected


def test_weights_of_no_class(reviewed) -> None:
    classless = bare(
        {
            "weight_class": None,
            "conventional_mass": Decimal(50),
            "expanded_uncertainty": Decimal("0.0001"),
            "coverage_factor": Decimal(2),
        }
    )
    only = {"A50": classless["A50"]}
    found = reviewed(
        {**ZERO_RETURN, "validity": {"weights_in_class": "no-pass"}},
        balances=[replace(balance(), weights=only)],
        loads={"span": (("A50",),)},
    )
    assert said(found) == [("error", "not-stated", "/rules/0/validity/weights_in_class")]
    assert "no such span check can pass" in found.remarks[0].message


def test_a_load_above_the_capacity(reviewed) -> None:
    small = balance(capacity=Decimal(40))
    rules = [ZERO_RETURN, {"limits": {"span_error": {"within": "5 mg"}}}]
    found = reviewed(*rules, balances=[small], loads={"span": (("A50",),)})
    assert said(found) == [("error", "overload", "/rules/1/limits/span_error")]
    assert found.remarks[0].message == (
        "MA-01: A50, 50 g, is above the capacity, 40 g; every such span check is void"
    )
    assert {j.row.void_by for j in found.judgement} == {("overload",)}
    assert {j.row.false_rejection for j in found.judgement} == {None}


def test_a_load_that_another_balance_can_carry_is_no_fault_of_the_profile(reviewed) -> None:
    both = [balance(capacity=Decimal(40)), balance("MA-02", capacity=Decimal(60))]
    rules = [ZERO_RETURN, {"limits": {"span_error": {"within": "5 mg"}}}]
    found = reviewed(*rules, balances=both, loads={"span": (("A50",),)})
    assert said(found) == [("warning", "overload", "/rules/1/limits/span_error")]
    assert {(j.instrument, bool(j.row.void_by)) for j in found.judgement} == {(0, True), (1, False)}


def test_what_has_no_load_is_judged_by_a_check_that_counts(reviewed) -> None:
    small = [balance(capacity=Decimal(40))]
    found = reviewed(ZERO_RETURN, balances=small, loads={"span": (("A50",), ("A10",))})
    (judged,) = found.judgement
    assert judged.row.void_by == ()
    assert judged.row.false_rejection is not None


def test_a_start_load_off_its_window_is_not_judged(reviewed) -> None:
    rule = loss("0.02 %", start_window={"target": "14 g", "allowance": "1 g"})
    (judged,) = reviewed(rule).judgement
    assert judged.row.void_by == ("start-load-off-window",)
    assert judged.row.false_rejection is None
    # 12.0006 g are shown as 12.001 g, outside of 12 g ± 0.0005 g, and nominally in the middle.
    heavy = {**WEIGHTS, "A2": replace(WEIGHTS["A2"], **CERTIFIED)}
    rule = loss("0.02 %", start_window={"target": "12 g", "allowance": "0.0005 g"})
    found = reviewed(rule, balances=[replace(balance(d="1"), weights=heavy)])
    assert ("error", "start-load-off-window", "/rules/0/start_window") in said(found)


CERTIFIED = {
    "conventional_mass": Decimal("2.0006"),
    "expanded_uncertainty": Decimal("0.00001"),
    "coverage_factor": Decimal(2),
}


def test_a_load_above_the_last_band(reviewed) -> None:
    bands = [{"up_to": "20 g", "within": "5 mg"}]
    rule = {"checks": ["linearity"], "limits": {"point_error": {"bands": bands}}}
    found = reviewed(rule)
    assert said(found) == [("error", "no-limit-for-load", "/rules/0/limits/point_error")]
    assert {j.row.criterion.load for j in found.judgement} == {2}


def test_weights_that_take_too_much_of_a_limit(reviewed) -> None:
    """50 g of class E2: 0.1 mg, of a limit of 0.2 mg more than a third; that voids unless told."""
    rule = {
        "checks": ["linearity"],
        "limits": {"point_error": {"within": "0.2 mg"}},
        "validity": {"weights_at_most": "1/3 of limit"},
    }
    found = reviewed(rule, loads={"linearity": (("A50",),)})
    assert ("error", "weights-too-coarse", "/rules/0/limits/point_error") in said(found)
    assert found.judgement[0].row.void_by == ("weights-too-coarse",)
    rule["validity"] = {"weights_at_most": {"share": "1/3 of limit", "else": "warning"}}
    found = reviewed(rule, loads={"linearity": (("A50",),)})
    assert ("warning", "weights-too-coarse", "/rules/0/limits/point_error") in said(found)
    assert found.judgement[0].row.void_by == ()


def test_an_uncertainty_that_voids(reviewed) -> None:
    """s = 0.3 mg: U is above 0.6 mg, the tolerance 0.5 mg."""
    rule = {
        "checks": ["span"],
        "limits": {"zero_return": {"within": "0.5 mg"}},
        "validity": {"uncertainty_within_tolerance": "void"},
    }
    found = reviewed(rule, balances=[balance(s="0.3")])
    place = "/rules/0/limits/zero_return"
    assert said(found) == [("error", "uncertainty-exceeds-tolerance", place)]
    assert "every such check is then void" in found.remarks[0].message


def test_a_scatter_too_large_for_the_load(reviewed) -> None:
    """2·0.05 mg of 12 g are 0.0008 %, above 0.0005 %."""
    rule = loss("0.02 %", validity={"scatter_at_most": {"share": "0.0005 %", "observations": 2}})
    found = reviewed(rule, balances=[balance(repeatability_observations=10)])
    assert said(found) == [("error", "net-mass-too-small", "/rules/0/validity/scatter_at_most")]
    assert found.judgement[0].row.false_rejection is None


def test_what_only_a_stage_spoils(reviewed) -> None:
    """As left the same limit is tighter than the uncertainty; as found the check counts."""
    rules = [
        {**ZERO_RETURN, "validity": {"uncertainty_within_tolerance": "void"}},
        {"stages": ["as-left"], "limits": {"zero_return": {"within": "0.5 mg"}}},
    ]
    found = reviewed(*rules, balances=[balance(s="0.3")])
    assert {(j.row.stage, j.row.void_by) for j in found.judgement} == {
        ("as-found", ()),
        ("as-left", ("uncertainty-exceeds-tolerance",)),
    }


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ({"within": "0.5 mg"}, "zero_return within 0.5 mg is"),
        (
            {"lower": "-0.4 mg", "upper": "0.6 mg"},
            "zero_return from -0.4 mg to 0.6 mg (0.5 mg about its middle) is",
        ),
        ({"upper": "0.5 mg"}, "zero_return at most 0.5 mg is"),
        ({"lower": "-0.5 mg"}, "zero_return at least -0.5 mg is"),
    ],
)
def test_limits_in_words(reviewed, limit, words) -> None:
    """u = √(0.1² + 0.1²/6) = 0.108 mg, U = 0.22 mg: 2.3 times is 0.5 mg."""
    rule = {"checks": ["span"], "limits": {"zero_return": limit}}
    found = reviewed(rule, balances=[balance(s="0.1")])
    assert [r.code for r in found.remarks] == ["weak-ratio"]
    assert words in found.remarks[0].message


def test_a_guard_band_that_takes_the_nearer_side(reviewed) -> None:
    """U = 0.22 mg: from -0.1 mg to 2 mg leaves from 0.12 mg on."""
    rule = {
        "checks": ["span"],
        "limits": {"zero_return": {"lower": "-0.1 mg", "upper": "2 mg"}},
        "decision": {"rule": "guarded"},
    }
    found = reviewed(rule, balances=[balance(s="0.1")])
    assert [r.code for r in found.remarks] == ["limit-not-attainable"]
    assert "the guard band, 0.22 mg, takes all of the nearer side, 0.1 mg" in (
        found.remarks[0].message
    )


def test_a_share_says_for_which_weights_it_is(reviewed) -> None:
    """A 50 g weight of class M1 may be off by 3 mg: over all sets many fail 3 mg, with one few."""
    coarse = replace(balance(), weights=bare({"weight_class": "OIML M1"}))
    rule = {"checks": ["linearity"], "limits": {"point_error": {"within": "3 mg"}}}
    found = reviewed(rule, balances=[coarse], loads={"linearity": (("A50",),)})
    (remark,) = (r for r in found.remarks if r.code == "good-balances-fail")
    assert re.search(
        r": [0-9]+ % of checks fail a balance that has no error, over all sets of weights of this "
        "kind; with weights exactly as stated, 0 %$",
        remark.message,
    )
    # A zero return has no weights to tell apart.
    rule = {"checks": ["span"], "limits": {"zero_return": {"within": "0.5 mg"}}}
    found = reviewed(rule, balances=[balance(s="0.4")])
    (remark,) = (r for r in found.remarks if r.code == "good-balances-fail")
    assert remark.message.endswith("% of checks fail a balance that has no error")


def test_rules_that_do_nothing(reviewed) -> None:
    found = reviewed(
        loss("0.03 %", sites=["harbour"]),
        loss("0.02 %", sites=["h*"]),
        loss("0.02 %", sites=["valley"]),
    )
    assert said(found) == [
        ("warning", "rule-overruled", "/rules/0"),
        ("warning", "rule-unused", "/rules/2"),
    ]
    found = reviewed(loss("0.03 %"), loss("0.02 %", sites=["harbour"]))
    assert said(found) == [("note", "rule-unused", "/rules/0")]


def test_what_is_not_judged_is_said(reviewed) -> None:
    assert said(reviewed(loss("0.02 %"), loads={})) == [("note", "not-judged", "")]
    found = reviewed(loss("0.02 %"), balances=[balance(d="30000", s=None)])
    assert ("warning", "not-possible", "") in said(found)
    found = reviewed(loss("0.02 %"), balances=[balance(s=None)])
    assert said(found) == [("note", "repeatability-not-stated", "")]


def test_one_remark_for_many_balances(reviewed) -> None:
    balances = [balance(f"MA-0{n}") for n in range(1, 7)]
    found = reviewed(loss("0.0008 %"), balances=balances)
    (remark,) = found.remarks
    assert remark.message.startswith("MA-01: ")
    assert "5 more like it; also MA-02, MA-03, MA-04 and 2 others)" in remark.message
    (remark,) = reviewed(loss("0.0008 %"), balances=balances[:5]).remarks
    assert "4 more like it; also MA-02, MA-03, MA-04 and 1 other)" in remark.message
    (remark,) = reviewed(loss("0.0008 %"), balances=balances[:4]).remarks
    assert "3 more like it; also MA-02, MA-03, MA-04)" in remark.message
    assert [j.instrument for j in found.judgement] == [0, 1, 2, 3, 4, 5]


def test_schedules_reach_the_judgement(reviewed) -> None:
    found = reviewed(loss("0.02 %", schedule={"every": "week"}))
    assert found.judgement[0].row.yearly.checks == 52
    assert found.judgement[0].rule.origin.pointer == "/rules/0"
    found = reviewed(loss("0.02 %", schedule={"after": ["moved"]}))
    assert found.judgement[0].row.yearly is None


def test_worst_first(reviewed) -> None:
    rules = [loss("0.0008 %"), {"limits": {"zero_return": {"within": "0.09 mg"}}}]
    severities = [s for s, *_ in said(reviewed(*rules, loss("9 %", sites=["valley"])))]
    assert severities == sorted(severities, key=("error", "warning", "note").index)
    assert severities[0] == "error"


def test_limits_of_what_cannot_be_rehearsed_are_told_as_not_judged(reviewed) -> None:
    """Once, with the rule that counts there; nothing where no limit comes into force."""
    rules = [
        {"limits": {"temperature_error": {"within": "2 K"}}},
        {"sites": ["harbour"], "limits": {"temperature_error": {"within": "3 K"}}},
    ]
    found = reviewed(rules[1])
    assert said(found) == [("note", "not-judged", "/rules/0/limits/temperature_error")]
    assert "limits of heater checks are not judged" in found.remarks[0].message
    assert "probe" in found.remarks[0].message  # what this kind says of itself
    found = reviewed(*rules, balances=[balance(), balance("MA-02")])
    assert ("note", "not-judged", "/rules/1/limits/temperature_error") in said(found)
    assert len([r for r in found.remarks if r.code == "not-judged"]) == 1
    elsewhere = reviewed({**rules[1], "sites": ["valley"]})
    assert "not-judged" not in [r.code for r in elsewhere.remarks]
