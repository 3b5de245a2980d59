"""Remarks of a review: each with its cause, its severity and its place; none where all is well."""

from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import LossLoads
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


def test_a_load_above_the_last_band(reviewed) -> None:
    bands = [{"up_to": "20 g", "within": "5 mg"}]
    rule = {"checks": ["linearity"], "limits": {"point_error": {"bands": bands}}}
    found = reviewed(rule)
    assert [(s, c) for s, c, _ in said(found)] == [("warning", "no-limit-for-load")]
    assert {j.row.criterion.load for j in found.judgement} == {2}


def test_weights_that_take_too_much_of_a_limit(reviewed) -> None:
    """50 g of class E2: 0.1 mg, of a limit of 0.2 mg more than a third."""
    rule = {
        "checks": ["linearity"],
        "limits": {"point_error": {"within": "0.2 mg"}},
        "validity": {"weights_at_most": "1/3 of limit"},
    }
    found = reviewed(rule, loads={"linearity": (("A50",),)})
    assert ("warning", "weights-too-coarse", "/rules/0/limits/point_error") in said(found)


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
    assert "5 more like it; also MA-02, MA-03, MA-04 and 2 others" in remark.message
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
