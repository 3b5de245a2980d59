"""Past checks under other limits and other certificates."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles import replay as module
from weighworthy_service.profiles.finding import built_in
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.replay import Side, replay
from weighworthy_service.profiles.replay_answer import verdicts_document
from weighworthy_service.wire.request import WeightForm

WEIGHT = {
    "nominal": "50 g",
    "weight_class": "OIML F1",
    "conventional_mass": "50.0000 g",
    "expanded_uncertainty": "0.06 mg",
    "coverage_factor": "2",
    "drift": "0 mg",
}


def check(indication: str, **more: Any) -> dict[str, Any]:
    return {
        "check": "span",
        "instrument": {"scale_interval": "0.1 mg", "repeatability": "0.05 mg"},
        "weights": {"A50": WEIGHT},
        "performed_at": "2026-03-02T08:00:00+01:00",
        "rounds": [{"load": ["A50"], "zero": "0.0000 g", "indication": indication}],
        **more,
    }


def weight(**more: Any) -> ReferenceWeight:
    return ReferenceWeight(name="A50", **WeightForm().load({**WEIGHT, **more}))


@pytest.fixture
def run(document: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    def judge(
        requests: list[dict[str, Any]],
        before: str | None = None,
        after: str | None = None,
        weights_after: dict[str, ReferenceWeight] | None = None,
        **profile: Any,
    ) -> dict[str, Any]:
        def side(within: str | None) -> Any:
            if within is None:
                return None
            rule = {"checks": ["span"], "limits": {"span_error": {"within": within}}}
            return read_profile(document(rule, **profile))

        sides = Side(side(before)), Side(side(after), weights_after or {})
        replayed = tuple(replay(requests, *sides, built_in()))
        return verdicts_document(replayed, {"before": [], "after": []})

    return judge


def test_tighter_limit_fails_what_lies_between(run: Callable[..., dict[str, Any]]) -> None:
    # Errors of 0.1, 0.8 and 1.2 mg against 1 mg and 0.5 mg.
    past = [check("50.0001 g"), check("50.0008 g", labels={"log": "7"}), check("50.0012 g")]
    found = run(past, "1 mg", "0.5 mg")
    assert found["counts"] == {"pass -> fail": 1}
    assert found["unchanged_counts"] == {"fail": 1, "pass": 1}
    (changed,) = found["changes"]
    assert (changed["index"], changed["labels"]) == (1, {"log": "7"})
    assert (changed["before"], changed["after"]) == ("pass", "fail")
    assert (changed["usable_before"], changed["usable_after"]) == (True, False)
    assert changed["criterion"] == "span_error[0]"


def test_new_certificate(run: Callable[..., dict[str, Any]]) -> None:
    # 0.6 mg above the old certificate are 1.1 mg above a new one of 49.9995 g. That lies 0.5 mg
    # below nominal, and class F1 allows 0.3 mg at 50 g (OIML R 111-1, from memory).
    past = [check("50.0006 g"), check("50.0001 g")]
    found = run(past, "1 mg", "1 mg", {"A50": weight(conventional_mass="49.9995 g")})
    assert found["counts"] == {"pass -> fail": 1}
    appeared = {f["code"]: f for f in found["findings"] if f["change"] == "appeared"}
    assert appeared["weight-outside-class"]["requests"] == 2
    assert appeared["weight-outside-class"]["indexes"] == [0, 1]
    assert "weight-outside-class" in found["changes"][0]["findings_appeared"]


def test_other_weights_stay_as_they_are(run: Callable[..., dict[str, Any]]) -> None:
    other = {"B50": weight(conventional_mass="49.9995 g")}
    found = run([check("50.0006 g")], "1 mg", "1 mg", other)
    assert found["changed"] == 0
    assert found["findings"] == []


def test_change_of_the_state_as_found_alone_counts(run: Callable[..., dict[str, Any]]) -> None:
    rounds = [
        {"load": ["A50"], "zero": "0.0000 g", "indication": "50.0008 g"},
        {"stage": "adjustment"},
        {"stage": "as-left", "load": ["A50"], "zero": "0.0000 g", "indication": "50.0000 g"},
    ]
    found = run([check("0 g", rounds=rounds)], "1 mg", "0.5 mg")
    assert found["counts"] == {"as found: pass -> fail": 1}
    (changed,) = found["changes"]
    assert (changed["before"], changed["after"]) == ("pass", "pass")
    assert (changed["as_found_before"], changed["as_found_after"]) == ("pass", "fail")


def test_condition_that_voids_has_no_criterion(run: Callable[..., dict[str, Any]]) -> None:
    overdue = {"A50": weight(due_on="2026-03-01")}
    found = run([check("50.0001 g")], "1 mg", "1 mg", overdue)
    assert found["counts"] == {"pass -> void": 1}
    assert found["changes"][0]["criterion"] is None
    assert "weight-overdue" in found["changes"][0]["findings_appeared"]


def test_every_request_is_counted_in_one_place(run: Callable[..., dict[str, Any]]) -> None:
    past = [
        check("50.0001 g"),
        {"check": "nothing of the kind"},
        {"instrument": {}},
        check("50.0008 g"),
        check("50.0001 g", weights={}),
        check("50 mug"),
        check("50.0001 g", check=["span"]),
    ]
    found = run(past, "1 mg", "0.5 mg")
    assert found["requests"] == 7
    assert (found["changed"], found["unchanged"], found["refused"]) == (1, 1, 5)
    assert [refusal["index"] for refusal in found["refusals"]] == [1, 2, 4, 5, 6]
    faults = {r["index"]: r["errors"][0]["code"] for r in found["refusals"]}
    assert faults == {
        1: "not-one-of",
        2: "not-one-of",
        4: "weight-not-declared",
        5: "unit-not-taken",
        6: "not-one-of",
    }


def test_own_profile_where_a_side_has_none(run: Callable[..., dict[str, Any]]) -> None:
    own = {
        "id": "own",
        "revision": "1",
        "rules": [{"checks": ["span"], "limits": {"span_error": {"within": "0.5 mg"}}}],
    }
    found = run([check("50.0008 g", profile=own)], None, "1 mg")
    assert found["counts"] == {"fail -> pass": 1}
    # Without any, the built-in one: 0.10 % of 50 g are 50 mg.
    assert run([check("50.0008 g")], None, "0.5 mg")["counts"] == {"pass -> fail": 1}
    unknown = run([check("50.0008 g", profile="nobody-knows")], None, "1 mg")
    assert unknown["refusals"][0]["side"] == "before"
    assert unknown["refusals"][0]["errors"][0]["pointer"] == "/profile"


def test_use_that_is_no_longer_let(document: Callable[..., dict[str, Any]]) -> None:
    # U is about 0.8 mg (buoyancy 0.75 mg / sqrt(3) with k = 2 and little else), the error 0.5 mg:
    # between 1 - U and 1 mg a pass is conditional.
    rule = {
        "checks": ["span"],
        "limits": {"span_error": {"within": "1 mg"}},
        "decision": {"rule": "four-way"},
    }
    lenient = read_profile(document(rule))
    strict = read_profile(document(rule, use_on=["pass"]))
    replayed = tuple(replay([check("50.0005 g")], Side(lenient), Side(strict), built_in()))
    found = verdicts_document(replayed, {})
    assert found["counts"] == {"conditional-pass: use is no longer let": 1}


def test_what_a_change_does_not_touch_is_judged_once(
    run: Callable[..., dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    judged: list[str] = []
    span = module.BY_SLUG["span"]

    def evaluate(check: Any, terms: Any) -> Any:
        judged.append(terms.profile.id)
        return span.evaluate(check, terms)

    monkeypatch.setitem(module.BY_SLUG, "span", replace(span, evaluate=evaluate))
    assert run([check("50.0008 g")], "1 mg", "1 mg")["unchanged_counts"] == {"pass": 1}
    assert len(judged) == 1
    # Other limits, and another certificate, are a second judgement.
    assert run([check("50.0008 g")], "1 mg", "0.5 mg")["counts"] == {"pass -> fail": 1}
    run([check("50.0008 g")], "1 mg", "1 mg", {"A50": weight(drift="0.01 mg")})
    assert len(judged) == 1 + 2 + 2


def test_equal_numbers_that_round_differently_are_not_equal(
    document: Callable[..., dict[str, Any]],
) -> None:
    # ASTM E29: 1.4 mg rounds to 1 mg in the last place of "1 mg", and stays 1.4 in that of "1.0".
    sides = [
        Side(
            read_profile(
                document(
                    {
                        "checks": ["span"],
                        "limits": {"span_error": {"within": within}},
                        "decision": {"rounding": "rounding"},
                    }
                )
            )
        )
        for within in ("1 mg", "1.0 mg")
    ]
    found = verdicts_document(tuple(replay([check("50.0014 g")], *sides, built_in())), {})
    assert found["counts"] == {"pass -> fail": 1}


@pytest.mark.parametrize("weights", [{}, {"weights": None}, {"weights": {}}])
def test_a_weight_that_nobody_declared_is_named(
    run: Callable[..., dict[str, Any]], weights: dict[str, Any]
) -> None:
    past = {name: value for name, value in check("50 g").items() if name != "weights"}
    (refusal,) = run([past | weights], "1 mg", "1 mg")["refusals"]
    (error,) = refusal["errors"]
    assert (error["pointer"], error["code"]) == ("/rounds/0/load/0", "weight-not-declared")
    assert "'A50'" in error["detail"]
