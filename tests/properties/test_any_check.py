"""What holds for the evaluation of any sensible check under any terms."""

import json
from dataclasses import replace
from decimal import FloatOperation, Inexact, localcontext
from math import fsum, isfinite, sqrt

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from weighworthy_service.checks.answer import answer
from weighworthy_service.checks.answer_text import answer_text
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.json_text import to_bytes

KINDS = pytest.mark.parametrize("kind", BY_SLUG)
# The same examples every time, as a test command must not change its mind between two runs. Not
# shrunk: that takes minutes for values of this size.
LAW = settings(
    max_examples=60, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate]
)


@KINDS
@LAW
@given(data=st.data())
def test_the_laws_of_one_evaluation(sensible, kind, data):
    """It never raises, its figures make sense, void hides nothing, and it can be written down."""
    check, terms = data.draw(sensible.check(kind)), data.draw(sensible.terms(kind))
    evaluation = sensible.evaluate(kind, check, terms)
    for criterion in evaluation.criteria:
        if criterion.value is None:
            assert criterion.verdict is None
        else:
            assert_figures_make_sense(criterion)
    assert_void_is_never_usable(evaluation)
    assert_void_findings_are_heard(kind, evaluation)
    form = {"profile": terms.profile, "version": "1", "request_digest": "sha256:0"}
    for short in (True, False):
        envelope = answer(evaluation, **form, labels={"%s": '"%"'}, short=short)
        assert json.loads(json.dumps(envelope, allow_nan=False))["check"] == kind
        written = answer_text(evaluation, **form, labels={"%s": '"%"'}, short=short)
        assert written == to_bytes(envelope)


def assert_figures_make_sense(criterion):
    squares = fsum(row.contribution**2 for row in criterion.budget)
    assert sqrt(squares) == pytest.approx(criterion.standard_uncertainty, rel=1e-12)
    assert isfinite(criterion.standard_uncertainty)
    assert criterion.standard_uncertainty > 0
    assert criterion.degrees_of_freedom >= 1 - 1e-9  # n - 1 of at least two observations
    # Rounded up to two digits: never understated, never by more than a tenth.
    product = criterion.coverage_factor * criterion.standard_uncertainty
    assert product * (1 - 1e-9) <= float(criterion.expanded_uncertainty) <= product * 1.1001
    if criterion.verdict is None:
        assert criterion.conformance_probability is None
        return
    assert 0 <= criterion.conformance_probability <= 1
    assert criterion.margin is None or criterion.margin <= 1
    assert criterion.distance is not None


def assert_void_is_never_usable(evaluation):
    if evaluation.verdict == "void":
        assert evaluation.usable is False
        assert evaluation.verdict_if_valid != "void"
    else:
        assert evaluation.verdict_if_valid is None
        would_do = None if evaluation.verdict is None else evaluation.verdict.endswith("pass")
        assert evaluation.usable is would_do


def assert_void_findings_are_heard(kind, evaluation):
    said = {evaluation.verdict, evaluation.verdict_as_found, evaluation.verdict_as_left}
    for finding in evaluation.findings:
        # Rounds between two adjustments, or of the other stage, speak for no state: only what
        # is said of the whole sitting must be heard in a span check.
        everywhere = kind != "span" or not (finding.field or "").startswith("/rounds")
        if finding.severity == "void" and everywhere:
            assert "void" in said


@KINDS
@LAW
@given(data=st.data())
def test_what_changes_nothing(sensible, kind, data):
    """The calling script's decimal context, the order of declared weights, weights not in use."""
    check, terms = data.draw(sensible.check(kind)), data.draw(sensible.terms(kind))
    evaluation = sensible.evaluate(kind, check, terms)
    here = check.circumstances

    with localcontext() as context:
        context.prec = 4
        context.traps[Inexact] = context.traps[FloatOperation] = True
        assert sensible.evaluate(kind, replace(check), terms) == evaluation

    turned = replace(here, weights=dict(reversed(here.weights.items())))
    again = sensible.evaluate(kind, replace(check, circumstances=turned), terms)
    assert again == evaluation

    idle = replace(next(iter(here.weights.values())), name="idle")
    more = replace(here, weights={"idle": idle, **here.weights})
    again = sensible.evaluate(kind, replace(check, circumstances=more), terms)
    assert again == evaluation
