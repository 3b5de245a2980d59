from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.terms import AtLeast, Decision, StartWindow, Validity
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.profiles.reading import read_profile
from weighworthy_service.profiles.resolve import terms_for


def limited(name, counts, **selectors):
    return {**selectors, "limits": {name: {"within": f"{counts} d"}}}


def counts(terms, name):
    """The limit in d and the place in the profile that set it."""
    in_force = terms.limits[name]
    return in_force.limit.within.number, in_force.place


@pytest.fixture
def terms(document, at):
    def resolve(*rules, check="span", method=None, instrument=None, **more):
        profile = read_profile(document(*rules, **more))
        return terms_for(profile, check, at(method, **(instrument or {})))

    return resolve


def test_the_last_matching_rule_wins_and_says_where_it_stands(terms):
    found = terms(
        limited("span_error", 1),
        limited("span_error", 2, sites=["valley"]),
        limited("span_error", 3, sites=["harbour"]),
        instrument={"site": "valley"},
    )
    assert counts(found, "span_error") == (2, "kestrel-mill@2026-03 /rules/1/limits/span_error")


def test_later_rules_win_however_little_they_single_out(terms):
    found = terms(
        limited("span_error", 1, instruments=["MA-07"]),
        limited("span_error", 2),
        instrument={"id": "MA-07"},
    )
    assert counts(found, "span_error") == (2, "kestrel-mill@2026-03 /rules/1/limits/span_error")


def test_each_limit_is_one_setting_and_wins_whole(terms):
    found = terms(
        {
            "limits": {
                "span_error": {"within": "1 d", "when_present": True, "source": "ours"},
                "zero_return": {"within": "1 d"},
            }
        },
        limited("span_error", 2),
    )
    assert found.limits["span_error"].limit.when_present is False
    assert found.limits["span_error"].limit.source is None
    assert counts(found, "zero_return") == (1, "kestrel-mill@2026-03 /rules/0/limits/zero_return")


def test_decision_and_start_window_win_whole(terms):
    found = terms(
        {
            "decision": {"rule": "guarded", "guard_factor": "0.5", "coverage": "99 %"},
            "start_window": {"target": "12 g", "allowance": "1 g", "else": "note"},
        },
        {
            "decision": {"coverage": "95 %"},
            "start_window": {"target": "15 g", "allowance": "2 g"},
            "weights_correlation": "independent",
        },
        check="simulated-loss",
    )
    assert found.decision == Decision(coverage=Decimal(95))
    assert found.start_window == StartWindow(Decimal(15), Decimal(2), "void")
    assert found.weights_correlation == "independent"


def test_each_condition_of_validity_is_one_setting(terms):
    found = terms(
        {"validity": {"warm_up": {"at_least": "1 h", "else": "note"}, "stable": "void"}},
        {"validity": {"warm_up": {"at_least": "20 min"}}},
    )
    assert found.validity == Validity(warm_up=AtLeast(Decimal(1200), "void"), stable="void")


def test_what_no_rule_sets_has_its_default(terms):
    found = terms({})
    assert found.limits == {}
    assert found.decision == Decision("simple", Decimal(1), Decimal("95.45"), "absolute", None)
    assert found.validity == Validity()
    assert (found.start_window, found.weights_correlation) == (None, "by-sign")
    assert found.use_on == ("pass", "conditional-pass")
    assert found.stages == {}


def test_the_terms_name_the_profile_and_who_may_use_the_balance(terms, document):
    found = terms({}, use_on=["pass"])
    assert (found.profile.id, found.profile.revision) == ("kestrel-mill", "2026-03")
    assert found.profile == read_profile(document({}, use_on=["pass"])).identity
    assert found.use_on == ("pass",)


@pytest.mark.parametrize(
    ("selector", "stated", "instead"),
    [
        ("sites", {"instrument": {"site": "valley"}}, {"instrument": {"site": "harbour"}}),
        ("models", {"instrument": {"model": "valley"}}, {"instrument": {"model": "Valley"}}),
        ("instruments", {"instrument": {"id": "valley"}}, {"instrument": {"site": "valley"}}),
        ("methods", {"method": "valley"}, {"instrument": {"id": "valley"}}),
    ],
)
@pytest.mark.parametrize("pattern", ["valley", "val*", "v?lley", "*"])
def test_selectors_look_at_what_the_request_states(terms, selector, stated, instead, pattern):
    rule = limited("span_error", 2, **{selector: [pattern]})
    assert "span_error" in terms(rule, **stated).limits
    assert "span_error" not in terms(rule).limits
    if pattern != "*":
        assert "span_error" not in terms(rule, **instead).limits


def test_all_selectors_of_a_rule_must_match(terms):
    rule = limited("span_error", 2, sites=["valley"], methods=["bran", "flour"])
    valley = {"site": "valley"}
    assert "span_error" in terms(rule, instrument=valley, method="flour").limits
    assert "span_error" not in terms(rule, instrument=valley, method="malt").limits
    assert "span_error" not in terms(rule, instrument={"site": "harbour"}, method="bran").limits


def test_rules_are_for_their_kinds_of_check(terms):
    rules = (
        {"limits": {"span_error": {"within": "1 d"}, "loss_error": {"within": "3 d"}}},
        limited("point_error", 5, checks=["lin*"]),
    )
    assert set(terms(*rules, check="span").limits) == {"span_error"}
    assert set(terms(*rules, check="linearity").limits) == {"point_error"}
    assert set(terms(*rules, check="simulated-loss").limits) == {"loss_error"}


def test_stages_of_a_span_check_may_have_their_own_terms(terms):
    found = terms(
        limited("span_error", 2),
        limited("span_error", 1, stages=["as-left"]),
        {"stages": ["as-*"], "decision": {"rule": "guarded"}},
        limited("zero_return", 4),
    )
    assert set(found.stages) == {"as-found", "as-left"}
    assert counts(found, "span_error") == (2, "kestrel-mill@2026-03 /rules/0/limits/span_error")
    assert counts(found.at("as-found"), "span_error") == (
        2,
        "kestrel-mill@2026-03 /rules/0/limits/span_error",
    )
    assert counts(found.at("as-left"), "span_error") == (
        1,
        "kestrel-mill@2026-03 /rules/1/limits/span_error",
    )
    assert found.decision.rule == "simple"
    assert found.at("as-found").decision.rule == "guarded"
    for one in (found, found.at("as-found"), found.at("as-left")):
        assert counts(one, "zero_return") == (4, "kestrel-mill@2026-03 /rules/3/limits/zero_return")


def test_a_later_rule_for_every_stage_wins_over_one_for_a_stage(terms):
    found = terms(limited("span_error", 1, stages=["as-left"]), limited("span_error", 2))
    assert counts(found.at("as-left"), "span_error") == (
        2,
        "kestrel-mill@2026-03 /rules/1/limits/span_error",
    )


def test_a_rule_for_stages_says_nothing_about_checks_without_them(terms):
    rule = {"stages": ["as-found"], "limits": {"loss_error": {"within": "3 d"}}}
    found = terms(rule, check="simulated-loss")
    assert found.limits == {}
    assert found.stages == {}


SITES = ("harbour", "valley")
METHODS = ("bran", "flour")
NAMES = ("span_error", "zero_return", "span_agreement")

rules_of_a_profile = st.lists(
    st.fixed_dictionaries(
        {"limits": st.dictionaries(st.sampled_from(NAMES), st.integers(1, 9), max_size=3)},
        optional={
            "sites": st.sampled_from([["harbour"], ["valley"], ["*"]]),
            "methods": st.sampled_from([["bran"], ["flour"], ["*"]]),
            "coverage": st.integers(90, 99),
            "stable": st.sampled_from(["void", "note"]),
        },
    ),
    min_size=1,
    max_size=6,
)


def written(rule):
    form = {name: rule[name] for name in ("sites", "methods") if name in rule}
    form["limits"] = {name: {"within": f"{n} d"} for name, n in rule["limits"].items()}
    if "coverage" in rule:
        form["decision"] = {"coverage": f"{rule['coverage']} %"}
    if "stable" in rule:
        form["validity"] = {"stable": rule["stable"]}
    return form


@given(
    rules=rules_of_a_profile,
    site=st.sampled_from([None, *SITES]),
    method=st.sampled_from([None, *METHODS]),
)
def test_for_each_setting_the_last_matching_rule_wins(rules, site, method):
    document = {"id": "kestrel-mill", "revision": "1", "rules": [written(r) for r in rules]}
    circumstances = Circumstances(
        Instrument(Decimal("0.001"), site=site), weights={}, method=method
    )
    found = terms_for(read_profile(document), "span", circumstances)

    def fits(rule, selector, value):
        return selector not in rule or (value is not None and rule[selector] in ([value], ["*"]))

    # From the bottom up, the first rule that matches and sets the thing has set it.
    upwards = [
        (position, rule)
        for position, rule in reversed(list(enumerate(rules)))
        if fits(rule, "sites", site) and fits(rule, "methods", method)
    ]
    for name in NAMES:
        setting = next(((i, r["limits"][name]) for i, r in upwards if name in r["limits"]), None)
        if setting is None:
            assert name not in found.limits
        else:
            position, number = setting
            assert counts(found, name) == (
                number,
                f"kestrel-mill@1 /rules/{position}/limits/{name}",
            )
    coverage = next((r["coverage"] for _, r in upwards if "coverage" in r), Decimal("95.45"))
    assert found.decision.coverage == coverage
    assert found.validity.stable == next((r["stable"] for _, r in upwards if "stable" in r), None)
