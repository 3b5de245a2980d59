"""What rounds speak for what. errors in mg, limit 2 mg."""

import pytest

from weighworthy_service.checks.span.evaluation import evaluate

STAGES = {"f": "as-found", "l": "as-left"}


@pytest.fixture
def sitting(make):
    """`"f0 A l3 l1u"`: as found 0 mg, adjustment, as left 3 mg, as left 1 mg unstable."""

    def of(text, limits=None, **terms):
        rounds = []
        for word in text.split():
            if word == "A":
                rounds.append(make.adjustment)
                continue
            error = int(word[1:].rstrip("u"))
            rounds.append(
                make.round(
                    "W",
                    "0",
                    f"20.{error:03d}",
                    stage=STAGES[word[0]],
                    stable=False if word.endswith("u") else None,
                )
            )
        check = make.span(rounds, [make.weight("W", "20")])
        return evaluate(check, make.terms(limits or {"span_error": "2 mg"}, **terms))

    return of


def verdicts(evaluation):
    return evaluation.verdict, evaluation.verdict_as_found, evaluation.verdict_as_left


@pytest.mark.parametrize(
    ("text", "whole", "as_found", "as_left"),
    [
        # No adjustment: one state, all rounds speak for both, the worst counts.
        ("f0", "pass", "pass", "pass"),
        ("f0 f3", "fail", "fail", "fail"),
        ("f3 l0", "fail", "fail", "fail"),
        ("f0 l3", "fail", "fail", "fail"),
        # Nothing labelled as found: nothing is said about the time before.
        ("l0", "pass", None, "pass"),
        ("l3", "fail", None, "fail"),
        # An adjustment parts the two, and the verdict is that of as left.
        ("f3 A l0", "pass", "fail", "pass"),
        ("f0 A l3", "fail", "pass", "fail"),
        ("f0 f3 A l0 l1", "pass", "fail", "pass"),
        ("f0 A l1 l3", "fail", "pass", "fail"),
        ("A l0", "pass", None, "pass"),
        # Between two adjustments a round speaks for neither state.
        ("f0 A l3 A l0", "pass", "pass", "pass"),
        # Adjusted and not read again: a fail stays, a pass is void, and as left is unknown.
        ("f0 A", "void", "pass", None),
        ("f3 A", "fail", "fail", None),
        ("f0 A l0 A", "void", "pass", None),
        ("f0 A l3 A", "fail", "pass", None),
    ],
)
def test_verdicts_by_stage(sitting, text, whole, as_found, as_left):
    assert verdicts(sitting(text)) == (whole, as_found, as_left)


def test_an_adjustment_that_nobody_verified_is_told(sitting, make):
    evaluation = sitting("f0 A")
    assert make.findings(evaluation, "as-left-missing") == [("no-pass", "/rounds/1")]
    assert evaluation.verdict_if_valid == "pass"
    assert make.findings(sitting("f0 A l0"), "as-left-missing") == []


@pytest.mark.parametrize(
    ("text", "said", "if_valid", "as_found_if_valid"),
    [
        # An unsettled as-left reading never hides an as-found fail, and the other way round.
        ("f3 A l0u", ("void", "fail", "void"), "pass", None),
        ("f3u A l0", ("pass", "void", "pass"), None, "fail"),
        ("f0 A l3u", ("void", "pass", "void"), "fail", None),
        ("f0 f3u", ("void", "void", "void"), "fail", "fail"),
    ],
)
def test_an_unsettled_reading_voids_what_it_is_part_of(
    sitting, text, said, if_valid, as_found_if_valid
):
    evaluation = sitting(text)
    assert verdicts(evaluation) == said
    assert evaluation.verdict_if_valid == if_valid
    assert evaluation.results["verdict_as_found_if_valid"] == as_found_if_valid


def test_a_stage_may_have_limits_of_its_own(sitting, make):
    own = {"as-found": make.terms({"span_error": "5 mg"})}
    assert verdicts(sitting("f3 A l3", stages=own)) == ("fail", "pass", "fail")


@pytest.mark.parametrize(
    ("use_on", "usable"), [(("pass",), True), (("pass", "conditional-pass"), True), ((), False)]
)
def test_usable_is_the_verdict_held_against_the_profile(sitting, use_on, usable):
    assert sitting("f3 A l0", use_on=use_on).usable is usable


def test_a_fail_and_a_void_are_not_usable(sitting):
    assert sitting("f3").usable is False
    assert sitting("f0u").usable is False


def test_without_any_limit_nothing_is_judged(sitting, make):
    evaluation = sitting("f0", {"zero_return": make.limit("1 mg", when_present=True)})
    assert verdicts(evaluation) == (None, None, None)
    assert evaluation.usable is None
    assert make.findings(evaluation, "nothing-judged") == [("warning", None)]


@pytest.mark.parametrize(
    ("text", "whole", "as_found", "as_left", "missing"),
    [
        ("f0 f1 A l0 l1", "pass", "pass", "pass", False),
        # One round as left shows no agreement of the state from now on.
        ("f0 f1 A l0", "void", "pass", "void", True),
        ("f0 A l0 l1", "pass", "void", "pass", True),
        ("f0 A l0", "void", "void", "void", True),
        # What was found to fail stays a fail.
        ("f3 A l0 l1", "pass", "fail", "pass", True),
        # A state between two adjustments that nobody speaks of need not be read twice.
        ("f0 f1 A l0 A l0 l1", "pass", "pass", "pass", False),
    ],
)
def test_each_statement_owes_a_required_agreement(  # noqa: PLR0917
    sitting, text, whole, as_found, as_left, missing
):
    evaluation = sitting(text, {"span_error": "2 mg", "span_agreement": "2 mg"})
    assert verdicts(evaluation) == (whole, as_found, as_left)
    assert ("criterion-missing" in {f.code for f in evaluation.findings}) is missing


def test_a_null_verdict_says_why_though_the_other_stage_was_judged(make):
    readings = {"load": "W", "zero": "0", "indication": "20.000"}
    rounds = [make.round(**readings), make.adjustment, make.round(**readings, stage="as-left")]
    terms = make.terms(stages={"as-found": make.terms({"span_error": "2 mg"})})
    evaluation = evaluate(make.span(rounds, [make.weight("W", "20")]), terms)
    assert verdicts(evaluation) == (None, "pass", None)
    assert "nothing-judged" in {f.code for f in evaluation.findings}


def test_every_group_that_could_agree_is_in_the_results(sitting):
    evaluation = sitting("f0 f3 A l0 l1", {"span_error": "9 mg", "span_agreement": "2 mg"})
    groups = evaluation.results["agreements"]
    assert [(g["rounds"], g["value"] * 1000, g["verdict"]) for g in groups] == [
        ([0, 1], 3, "fail"),
        ([3, 4], 1, "pass"),
    ]


def test_readings_of_an_adjustment_are_kept_and_told(make):
    rounds = [
        make.round("W", "0", "20.000"),
        make.round("W", "0", "99.000", stage="adjustment"),
        make.round("W", "0", "20.000", stage="as-left"),
    ]
    check = make.span(rounds, [make.weight("W", "20")])
    evaluation = evaluate(check, make.terms({"span_error": "2 mg"}))
    assert evaluation.verdict == "pass"
    assert make.findings(evaluation, "adjustment-not-judged") == [("note", "/rounds/1")]
