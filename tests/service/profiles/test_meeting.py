import pytest

LIMIT = {"limits": {"span_error": {"within": "2 d"}}}
ROUNDING = {"rounding": "rounding"}


@pytest.mark.parametrize(
    ("decision", "code"),
    [
        (ROUNDING, "required"),
        ({**ROUNDING, "rounding_to": "0.01 %"}, "unit-not-for-criterion"),
    ],
)
def test_a_decision_and_a_limit_that_meet_somewhere_contradict_at_once(flaws, decision, code):
    """Not only when a check of the valley comes in: then it would be too late."""
    found = flaws(LIMIT, {"sites": ["valley"], "decision": decision})
    assert found == [("rules/1/decision/rounding_to", code)]
    # The order does not matter: both are in force for the valley.
    assert flaws({"sites": ["valley"], "decision": decision}, LIMIT) == [
        ("rules/0/decision/rounding_to", code)
    ]


@pytest.mark.parametrize(
    ("deciding", "limiting"),
    [
        ({"sites": ["valley"]}, {"sites": ["harbour"]}),
        ({"checks": ["linearity"]}, {}),
        ({"instruments": ["MA-0?"]}, {"instruments": ["MA-17"]}),
        ({"sites": ["valley"], "models": ["K-1"]}, {"sites": ["valley"], "models": ["K-2"]}),
        ({"checks": ["span"], "stages": ["as-left"]}, {"stages": ["as-found"]}),
    ],
)
def test_rules_that_never_meet_do_not_contradict(flaws, deciding, limiting):
    assert flaws({**LIMIT, **limiting}, {**deciding, "decision": ROUNDING}) == []


@pytest.mark.parametrize(
    ("deciding", "limiting"),
    [
        ({"sites": ["v*"]}, {"sites": ["harbour", "valley"]}),
        ({"instruments": ["MA-0?"]}, {"instruments": ["MA-*"]}),
        ({"methods": ["bran"]}, {"models": ["K-2"]}),
    ],
)
def test_patterns_that_could_meet_contradict(flaws, deciding, limiting):
    found = flaws({**LIMIT, **limiting}, {**deciding, "decision": ROUNDING})
    assert found == [("rules/1/decision/rounding_to", "required")]


def test_what_a_later_rule_replaces_wherever_it_applies_contradicts_nothing(flaws):
    replaced = {"sites": ["valley"], "decision": ROUNDING}
    assert flaws(LIMIT, replaced, {"sites": ["v*"], "decision": {}}) == []
    assert flaws(LIMIT, replaced, {"limits": {"span_error": {"within": "2 mg"}}}) == []
    # A rule for one balance replaces it there only.
    narrow = {"sites": ["valley"], "instruments": ["MA-07"], "decision": {}}
    assert flaws(LIMIT, replaced, narrow) == [("rules/1/decision/rounding_to", "required")]


def test_a_contradiction_with_a_parent_stands_where_the_child_makes_it(flaws):
    parent = {"id": "base", "revision": "1", "rules": [LIMIT]}
    reason = {"decision": ROUNDING, "loosens": "agreed"}
    assert flaws(reason, extends=parent) == [("rules/0/decision/rounding_to", "required")]
    rounding = {**ROUNDING, "rounding_to": "0.01 %"}
    parent = {"id": "base", "revision": "1", "rules": [{"decision": rounding}]}
    assert flaws({}, LIMIT, extends=parent) == [("rules/1/limits", "unit-not-for-criterion")]
