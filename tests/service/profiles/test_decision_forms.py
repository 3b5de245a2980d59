import pytest

ROUNDING = {"rule": "simple", "rounding": "rounding"}


def rule(decision, name="loss_error", **form):
    return {"decision": decision, "limits": {name: form}} if form else {"decision": decision}


@pytest.mark.parametrize(
    "decision",
    [
        {},
        {"rule": "simple"},
        {"rule": "guarded", "guard_factor": "1"},
        {"rule": "four-way", "guard_factor": "0.8", "coverage": "99 %"},
        {"rule": "guarded", "rounding": "absolute"},
        {"rounding": "rounding"},
        {"rounding": "rounding", "rounding_to": "0.01 %"},
    ],
)
def test_decisions_that_hold_together(flaws, decision):
    assert flaws(rule(decision)) == []


@pytest.mark.parametrize("kind", ["guarded", "four-way"])
def test_only_the_simple_rule_may_round_first(flaws, kind):
    found = flaws(rule({"rule": kind, "rounding": "rounding"}))
    assert found == [("rules/0/decision/rounding", "contradiction")]


@pytest.mark.parametrize(
    "decision", [{"guard_factor": "1"}, {"rule": "simple", "guard_factor": "1"}]
)
def test_a_guard_factor_without_a_guard_band_is_refused(flaws, decision):
    assert flaws(rule(decision)) == [("rules/0/decision/guard_factor", "contradiction")]


@pytest.mark.parametrize("decision", [{}, {"rounding": "absolute"}])
def test_a_step_without_rounding_is_refused(flaws, decision):
    found = flaws(rule({**decision, "rounding_to": "0.01 %"}))
    assert found == [("rules/0/decision/rounding_to", "contradiction")]


@pytest.mark.parametrize("step", ["0 %", "-1 mg", "1 d", "1 e", "0.1 % of load"])
def test_a_step_is_a_size_of_its_own(flaws, step):
    found = flaws(rule({**ROUNDING, "rounding_to": step}))
    assert found == [("rules/0/decision/rounding_to", "out-of-range")]


@pytest.mark.parametrize(
    ("coverage", "taken"),
    [("50 %", True), ("95 %", True), ("99.999 %", True), ("49.9 %", False), ("100 %", False)],
)
def test_coverage_is_a_probability_one_can_work_with(flaws, coverage, taken):
    found = flaws(rule({"coverage": coverage}))
    assert found == ([] if taken else [("rules/0/decision/coverage", "out-of-range")])


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("loss_error", {"within": "0.05 %"}),
        ("span_error", {"lower": "-1 mg", "upper": "2 mg"}),
        ("point_error", {"bands": [{"up_to": "5000 e", "within": "1 mg"}]}),
    ],
)
def test_a_limit_with_a_written_digit_says_itself_where_to_round(flaws, name, form):
    assert flaws(rule(ROUNDING, name, **form)) == []


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("loss_error", {"within": "3 d"}),
        ("span_error", {"within": "1 e"}),
        ("span_error", {"lower": "-1 mg", "upper": "2 d"}),
        ("span_error", {"within": "0.1 % of load"}),
        ("hysteresis", {"within": "0.1 % of capacity"}),
        ("span_error", {"smaller_of": [{"within": "1 mg"}, {"within": "2 mg"}]}),
        ("point_error", {"larger_of": [{"within": "1 mg"}, {"within": "2 mg"}]}),
        ("point_error", {"bands": [{"up_to": "20 g", "within": "1 d"}]}),
        (
            "point_error",
            {"bands": [{"up_to": "9 g", "larger_of": [{"within": "1 mg"}, {"within": "2 mg"}]}]},
        ),
    ],
)
def test_a_limit_without_a_written_digit_needs_the_step(flaws, name, form):
    assert flaws(rule(ROUNDING, name, **form)) == [("rules/0/decision/rounding_to", "required")]
    step = "0.01 %" if name == "loss_error" else "0.1 mg"
    assert flaws(rule({**ROUNDING, "rounding_to": step}, name, **form)) == []


@pytest.mark.parametrize(
    ("name", "within", "step"), [("loss_error", "0.05 %", "1 mg"), ("span_error", "1 mg", "0.1 %")]
)
def test_the_step_is_in_the_unit_of_the_criterion(flaws, name, within, step):
    found = flaws(rule({**ROUNDING, "rounding_to": step}, name, within=within))
    assert found == [("rules/0/decision/rounding_to", "unit-not-for-criterion")]
