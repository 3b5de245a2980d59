"""A child may be tighter without a word; to be looser it has to say why."""

import pytest

from weighworthy_service.profiles.errors import ProfileNotUsable
from weighworthy_service.profiles.reading import read_profile


def parent(*rules, **more):
    return {"id": "base", "revision": "1", "rules": list(rules), **more}


@pytest.fixture
def loosened(flaws):
    """Pointers of what loosens when these rules build on that one, without any reason."""

    def find(theirs, *own):
        found = flaws(*own, extends=parent(theirs))
        assert {code for _, code in found} <= {"loosens"}
        return [pointer for pointer, _ in found]

    return find


def loss(within, **more):
    return {"limits": {"loss_error": {"within": within}}, **more}


CASES = [
    # theirs, own, as tight
    (loss("0.05 %"), loss("0.04 %"), True),
    (loss("0.05 %"), loss("0.05 %"), True),
    (loss("0.05 %"), loss("0.06 %"), False),
    (loss("0.05 %"), loss("3 d"), False),
    ({}, loss("9 %"), True),
    ({"decision": {"rule": "simple"}}, {"decision": {"rule": "guarded"}}, True),
    ({}, {"decision": {"rule": "guarded"}}, True),
    ({}, {"decision": {"rule": "four-way"}}, False),
    ({}, {"decision": {"coverage": "90 %"}}, False),
    ({}, {"decision": {"coverage": "99 %"}}, True),
    ({}, {"decision": {"rounding": "rounding", "rounding_to": "1 mg"}}, False),
    ({"decision": {"rounding": "rounding"}}, {"decision": {}}, True),
    ({"decision": {"rounding": "rounding", "rounding_to": "1 mg"}}, {"decision": {}}, False),
    ({"decision": {"rule": "guarded"}}, {"decision": {}}, False),
    ({"decision": {"rule": "guarded"}}, {"decision": {"rule": "four-way"}}, False),
    ({"decision": {"rule": "four-way"}}, {"decision": {"rule": "guarded"}}, True),
    ({"decision": {"rule": "four-way"}}, {"decision": {"rule": "four-way"}}, True),
    (
        {"decision": {"rule": "four-way"}},
        {"decision": {"rule": "four-way", "guard_factor": "2"}},
        False,
    ),
    (
        {"decision": {"rule": "guarded", "guard_factor": "0.8"}},
        {"decision": {"rule": "guarded"}},
        True,
    ),
    (
        {"decision": {"rule": "guarded"}},
        {"decision": {"rule": "guarded", "guard_factor": "0.8"}},
        False,
    ),
    (
        {"start_window": {"target": "12 g", "allowance": "0.5 g"}},
        {"start_window": {"target": "12.2 g", "allowance": "0.3 g"}},
        True,
    ),
    (
        {"start_window": {"target": "12 g", "allowance": "0.5 g"}},
        {"start_window": {"target": "12.2 g", "allowance": "0.4 g"}},
        False,
    ),
    (
        {"start_window": {"target": "12 g", "allowance": "0.5 g"}},
        {"start_window": {"target": "12 g", "allowance": "0.5 g", "else": "warning"}},
        False,
    ),
    ({"validity": {"stable": "void"}}, {"validity": {"stable": "no-pass"}}, False),
    ({"validity": {"stable": "no-pass"}}, {"validity": {"stable": "void"}}, True),
    # Not said, an overdue weight voids and a weight outside its class is a warning.
    ({}, {"validity": {"weights_in_date": "warning"}}, False),
    ({}, {"validity": {"weights_in_date": "void"}}, True),
    ({}, {"validity": {"weights_in_class": "note"}}, False),
    ({}, {"validity": {"weights_in_class": "no-pass"}}, True),
    (
        {"validity": {"warm_up": {"at_least": "60 min"}}},
        {"validity": {"warm_up": {"at_least": "1 h"}}},
        True,
    ),
    (
        {"validity": {"warm_up": {"at_least": "60 min"}}},
        {"validity": {"warm_up": {"at_least": "30 min"}}},
        False,
    ),
    (
        {"validity": {"warm_up": {"at_least": "60 min"}}},
        {"validity": {"warm_up": {"at_least": "90 min", "else": "note"}}},
        False,
    ),
    (
        {"validity": {"weights_at_most": "1/3 of limit"}},
        {"validity": {"weights_at_most": "1/4 of limit"}},
        True,
    ),
    (
        {"validity": {"weights_at_most": "1/3 of limit"}},
        {"validity": {"weights_at_most": "2/5 of limit"}},
        False,
    ),
    ({"weights_correlation": "by-sign"}, {"weights_correlation": "worst"}, True),
    ({}, {"weights_correlation": "independent"}, False),
    ({"schedule": {"every": "week"}}, {"schedule": {"every": "day"}}, True),
    ({"schedule": {"every": "day"}}, {"schedule": {"every": "24 h"}}, True),
    ({"schedule": {"every": "day"}}, {"schedule": {"every": "25 h"}}, False),
    # Four weeks are at most a month: every month has 28 days.
    ({"schedule": {"every": "month"}}, {"schedule": {"every": "672 h"}}, True),
    ({"schedule": {"every": "672 h"}}, {"schedule": {"every": "month"}}, False),
    ({"schedule": {"every": "day"}}, {"schedule": {"every": "day", "grace": "4 h"}}, False),
    ({"schedule": {"every": "day", "grace": "4 h"}}, {"schedule": {"every": "day"}}, True),
    ({"schedule": {"after": ["moved"]}}, {"schedule": {"after": ["moved", "power-off"]}}, True),
    ({"schedule": {"after": ["moved", "power-off"]}}, {"schedule": {"after": ["moved"]}}, False),
    ({"schedule": {"every": "day"}}, {"schedule": {"after": ["moved"]}}, False),
    (
        {"schedule": {"every": "day", "at": "first-use"}},
        {"schedule": {"every": "day"}},
        False,
    ),
]


def test_rules_for_other_balances_loosen_nothing(loosened):
    """No id begins with MA- and with MB- at once; one that ends with -1 may begin with MA-."""
    theirs = loss("0.04 %", instruments=["MA-*"])
    assert loosened(theirs, loss("0.05 %", instruments=["MB-*"])) == []
    assert loosened(theirs, loss("0.05 %", instruments=["*-1"])) == ["rules/0/limits/loss_error"]


@pytest.mark.parametrize(("theirs", "own", "as_tight"), CASES)
def test_what_loosens_and_what_does_not(loosened, theirs, own, as_tight):
    (setting,) = own
    found = loosened(theirs, own)
    assert len(found) == (0 if as_tight else 1)
    assert all(pointer.startswith(f"rules/0/{setting}") for pointer in found)
    # With a reason everything is taken.
    assert loosened(theirs, {**own, "loosens": "bran dries slowly"}) == []


def test_the_sentence_says_where_the_tighter_one_stands(sentences):
    said = sentences(loss("0.06 %"), extends=parent({}, loss("0.05 %")))
    assert "rules/0/limits/loss_error: " in said
    assert "looser than in base@1 /rules/1" in said
    assert 'loosens = "reason"' in said


@pytest.mark.parametrize(
    ("where", "own", "count"),
    [
        ({"sites": ["harbour"]}, {"sites": ["valley"]}, 0),
        ({"sites": ["harbour"]}, {"sites": ["har*"]}, 1),
        ({"sites": ["harbour"]}, {}, 1),
        ({}, {"sites": ["valley"]}, 1),
        ({"models": ["K-1"]}, {"sites": ["valley"]}, 1),
        ({"checks": ["linearity", "simulated-*"]}, {"checks": ["*"]}, 1),
    ],
)
def test_only_rules_that_can_meet_are_compared(loosened, where, own, count):
    assert len(loosened(loss("0.05 %", **where), loss("0.06 %", **own))) == count


def test_what_the_parent_itself_replaced_is_not_compared(flaws):
    general, valley = loss("0.05 %"), loss("0.08 %", sites=["valley"])
    own = loss("0.06 %", sites=["valley"])
    assert flaws(own, extends=parent(general, valley)) == []
    # The other way round the tight one is in force in the valley too.
    assert flaws(own, extends=parent(valley, general)) == [("rules/0/limits/loss_error", "loosens")]
    # A rule for one method does not replace it for all.
    bran = loss("0.08 %", sites=["valley"], methods=["bran"])
    assert flaws(own, extends=parent(general, bran)) == [("rules/0/limits/loss_error", "loosens")]


def test_one_reason_stands_for_the_settings_of_its_rule_only(flaws):
    reasoned = {**loss("0.06 %"), "decision": {"coverage": "90 %"}, "loosens": "agreed"}
    assert flaws(reasoned, loss("0.07 %"), extends=parent(loss("0.05 %"))) == [
        ("rules/1/limits/loss_error", "loosens")
    ]


def test_a_grandparent_counts_too(flaws):
    grand = {"id": "group", "revision": "1", "rules": [loss("0.05 %")]}
    assert flaws(loss("0.06 %"), extends=parent({}, extends=grand)) == [
        ("rules/0/limits/loss_error", "loosens")
    ]


def test_a_parent_inside_is_held_to_its_own_parent(document):
    grand = {"id": "group", "revision": "1", "rules": [loss("0.05 %")]}
    with pytest.raises(ProfileNotUsable) as caught:
        read_profile(document({}, extends=parent(loss("0.06 %"), extends=grand)))
    (flaw,) = caught.value.flaws
    assert flaw.path == ("extends", "rules", 0, "limits", "loss_error")


def test_wider_use_needs_a_reason_in_the_profile(flaws):
    strict = parent({}, use_on=["pass"])
    assert flaws(extends=strict, use_on=["pass"]) == []
    assert flaws(extends=strict) == []
    wider = ["pass", "conditional-pass"]
    assert flaws(extends=strict, use_on=wider) == [("use_on", "loosens")]
    assert flaws(extends=strict, use_on=wider, loosens="agreed with quality") == []
    assert flaws(extends=parent({}), use_on=["pass"]) == []


def test_without_a_parent_nothing_is_looser(flaws):
    assert flaws(loss("9 %"), loss("99 %")) == []


def test_where_a_four_way_rule_may_decide_another_uncertainty_is_not_tighter(flaws):
    """A larger one makes a conditional fail of a fail."""
    four_way = {"checks": ["span"], "decision": {"rule": "four-way"}}
    worst = {"weights_correlation": "worst"}
    assert flaws(worst, extends=parent(four_way)) == [("rules/0/weights_correlation", "loosens")]
    assert flaws({"weights_correlation": "by-sign"}, extends=parent(four_way)) == []
