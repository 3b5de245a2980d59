import pytest

from weighworthy_service.checks.conclusion import conclude, in_order, nothing_judged
from weighworthy_service.checks.outcome import Finding


def finding(severity, code="x", field=None):
    return Finding(code, severity, "…", field)


@pytest.mark.parametrize(
    ("verdicts", "worst"),
    [
        (["pass", None, "pass"], "pass"),
        (["pass", "conditional-pass"], "conditional-pass"),
        (["conditional-fail", "conditional-pass"], "conditional-fail"),
        (["pass", "fail", "conditional-fail"], "fail"),
        ([None, None], None),
        ([], None),
    ],
)
@pytest.mark.parametrize("severities", [[], ["warning", "note"]])
def test_the_worst_verdict_counts(verdicts, worst, severities):
    assert conclude(verdicts, [finding(s) for s in severities]) == (worst, None)


@pytest.mark.parametrize("judged", ["pass", "conditional-pass", "conditional-fail", "fail", None])
def test_void_spoils_any_statement_and_hides_none(judged):
    assert conclude([judged], [finding("void")]) == ("void", judged)


@pytest.mark.parametrize(
    ("judged", "concluded"),
    [
        ("pass", ("void", "pass")),
        ("conditional-pass", ("void", "conditional-pass")),
        (None, ("void", None)),
        ("conditional-fail", ("conditional-fail", None)),
        ("fail", ("fail", None)),
    ],
)
def test_no_pass_only_forbids_a_pass(judged, concluded):
    assert conclude([judged], [finding("no-pass")]) == concluded


def test_void_outranks_no_pass():
    assert conclude(["fail"], [finding("no-pass"), finding("void")]) == ("void", "fail")


def test_nothing_judged_is_said():
    (said,) = nothing_judged(None, None)
    assert (said.code, said.severity, said.field) == ("nothing-judged", "warning", None)
    assert [f.code for f in nothing_judged("void", None)] == ["nothing-judged"]
    assert nothing_judged("void", "pass") == nothing_judged("fail", None) == []


def test_findings_are_ordered_by_severity_field_and_code_and_told_once():
    ordered = (
        finding("void", "b", "/z"),
        finding("no-pass", "a"),
        finding("warning", "z"),
        finding("warning", "b", "/a"),
        finding("warning", "c", "/a"),
        finding("warning", "a", "/b"),
        finding("note", "a", "/a"),
    )
    assert in_order([*reversed(ordered), *ordered]) == ordered
