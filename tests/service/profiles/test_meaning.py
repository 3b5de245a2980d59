import pytest

WITHIN = {"within": "2 d"}


def test_all_flaws_of_a_document_come_at_once(flaws):
    found = flaws(
        {"checks": ["spam"], "limits": {"span_eror": WITHIN, "loss_error": {"within": "1 mg"}}},
        {"stages": ["as-found"], "checks": ["linearity"]},
        effective_from="2026-03-01",
        effective_to="2026-02-28",
        use_on=["pass", "void"],
    )
    assert found == [
        ("effective_to", "out-of-order"),
        ("use_on/1", "not-one-of"),
        ("rules/0/checks/0", "not-one-of"),
        ("rules/0/limits/span_eror", "unknown-criterion"),
        ("rules/0/limits/loss_error", "not-for-check"),
        ("rules/0/limits/loss_error/within", "unit-not-for-criterion"),
        ("rules/1/stages", "not-for-check"),
    ]


def test_a_profile_may_be_in_force_for_one_day(flaws):
    assert flaws(effective_from="2026-03-01", effective_to="2026-03-01") == []


@pytest.mark.parametrize(
    ("use_on", "found"),
    [
        (["pass"], []),
        (["conditional-pass", "pass"], []),
        (["pass", "conditional-pass", "conditional-fail"], []),
        (["pass", "fail"], [("use_on/1", "not-one-of")]),
        (["void", "pass"], [("use_on/0", "not-one-of")]),
        (["pass", "pass"], [("use_on/1", "repeated")]),
        (["conditional-pass"], [("use_on", "contradiction")]),
        (["pass", "conditional-fail"], [("use_on", "contradiction")]),
    ],
)
def test_use_rests_on_the_better_verdicts(flaws, use_on, found):
    assert flaws(use_on=use_on) == found


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("span_eror", "span_error"), ("loss-error", "loss_error"), ("hysterisis", "hysteresis")],
)
def test_an_unknown_criterion_comes_with_the_nearest_known_one(sentences, wrong, right):
    assert f"did you mean '{right}'?" in sentences({"limits": {wrong: WITHIN}})


def test_a_criterion_that_is_like_none_comes_with_the_whole_list(sentences):
    said = sentences({"limits": {"xyz": WITHIN}})
    assert "known: span_error, zero_return, span_agreement, point_error" in said


@pytest.mark.parametrize(
    ("selectors", "found"),
    [
        ({"checks": ["span", "linearity", "simulated-loss"]}, []),
        ({"checks": ["s*"]}, []),
        ({"checks": ["heat?r"]}, []),  # a pattern may wait for kinds of check to come
        ({"checks": ["spn"]}, [("rules/0/checks/0", "not-one-of")]),
        ({"checks": ["span", "Span"]}, [("rules/0/checks/1", "not-one-of")]),
        ({"checks": ["span", "span"]}, [("rules/0/checks/1", "repeated")]),
        ({"sites": ["harbour", "valley", "harbour"]}, [("rules/0/sites/2", "repeated")]),
        ({"stages": ["as-found", "as-left"]}, []),
        ({"stages": ["as-*"]}, []),
        ({"stages": ["adjustment"]}, [("rules/0/stages/0", "not-one-of")]),
        ({"checks": ["s*"], "stages": ["as-left"]}, []),
        (
            {"checks": ["simulated-loss"], "stages": ["as-left"]},
            [("rules/0/stages", "not-for-check")],
        ),
    ],
)
def test_selectors(flaws, selectors, found):
    assert flaws(selectors) == found


def test_an_unknown_kind_of_check_comes_with_the_nearest_known_one(sentences):
    assert "did you mean 'linearity'?" in sentences({"checks": ["linerity"]})


@pytest.mark.parametrize(
    ("setting", "place", "at_home"),
    [
        (
            {"start_window": {"target": "12 g", "allowance": "0.5 g"}},
            "start_window",
            "simulated-loss",
        ),
        ({"validity": {"rounds": {"at_least": 2}}}, "validity/rounds", "span"),
        ({"validity": {"points": {"at_least": 5}}}, "validity/points", "linearity"),
        ({"limits": {"hysteresis": WITHIN}}, "limits/hysteresis", "linearity"),
    ],
)
@pytest.mark.parametrize("check", ["span", "linearity", "simulated-loss"])
def test_a_setting_stands_in_rules_for_its_kind_of_check(flaws, setting, place, at_home, check):
    expected = [] if check == at_home else [(f"rules/0/{place}", "not-for-check")]
    assert flaws({"checks": [check], **setting}) == expected
    assert flaws(setting) == []


@pytest.mark.parametrize(
    "validity",
    [
        {"warm_up": {"at_least": "20 min"}},
        {"rounds": {"at_least": 2}},
        {"stable": "void"},
        {"weights_in_date": "void"},
        {"weights_in_class": "void"},
    ],
)
def test_what_is_asked_of_the_whole_check_cannot_be_set_by_stage(flaws, validity):
    (name,) = validity
    found = flaws({"stages": ["as-left"], "validity": validity})
    assert found == [(f"rules/0/validity/{name}", "not-by-stage")]


def test_what_is_asked_of_each_criterion_can_be_set_by_stage(flaws):
    validity = {"weights_at_most": "1/3 of limit", "uncertainty_within_tolerance": "void"}
    rule = {"stages": ["as-left"], "validity": validity, "limits": {"span_error": WITHIN}}
    assert flaws(rule) == []


@pytest.mark.parametrize(("share", "taken"), [("1/1", True), ("2/3", True), ("4/3", False)])
def test_weights_take_at_most_the_whole_limit(flaws, share, taken):
    found = flaws({"validity": {"weights_at_most": f"{share} of limit"}})
    assert found == ([] if taken else [("rules/0/validity/weights_at_most", "out-of-range")])


def test_occasions_of_a_schedule_are_those_a_check_can_have(flaws, sentences):
    assert flaws({"schedule": {"every": "day", "after": ["moved", "power-off"]}}) == []
    assert flaws({"schedule": {"after": ["moved", "pover-off"]}}) == [
        ("rules/0/schedule/after/1", "not-one-of")
    ]
    assert "did you mean 'power-off'?" in sentences({"schedule": {"after": ["pover-off"]}})


def test_a_rule_may_set_nothing(flaws):
    assert flaws({}, {"limits": {}}, {"sites": ["valley"]}) == []


@pytest.mark.parametrize(
    "schedule",
    [
        {"every": "day"},
        {"every": "24 h", "at": "first-use", "grace": "4 h", "after": ["moved"]},
        {"after": ["moved", "power-off"]},
    ],
)
def test_schedules_that_say_when(flaws, schedule):
    assert flaws({"schedule": schedule}) == []


@pytest.mark.parametrize(
    ("schedule", "found"),
    [
        ({}, [("", "required")]),
        ({"after": []}, [("", "required")]),
        ({"after": ["moved"], "grace": "4 h"}, [("/grace", "contradiction")]),
        ({"at": "first-use"}, [("", "required"), ("/at", "contradiction")]),
        ({"every": "day", "after": ["moved", "moved"]}, [("/after/1", "repeated")]),
    ],
)
def test_schedules_that_do_not(flaws, schedule, found):
    expected = [(f"rules/0/schedule{place}", code) for place, code in found]
    assert flaws({"schedule": schedule}) == expected


def test_a_ladder_ends_where_the_balance_is_taken_out_of_service(flaws):
    ladder = [{"step": "repeat", "times": 2}, {"step": "out-of-service"}]
    assert flaws({"response": ladder}) == []
    assert flaws({"response": [*ladder, {"step": "service"}]}) == [
        ("rules/0/response/2", "contradiction")
    ]
    assert flaws({"response": [{"step": "out-of-service", "times": 2}]}) == [
        ("rules/0/response/0/times", "contradiction")
    ]
