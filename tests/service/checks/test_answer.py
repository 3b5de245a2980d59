"""The envelope: every field there, numbers as documented, digests anyone can recompute."""

import json
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from hashlib import sha256
from math import inf

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from weighworthy_service.checks.answer import answer, brief_of, jsonable, number, request_digest
from weighworthy_service.checks.outcome import Criterion, Evaluation, Finding
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.metrology.budget import BudgetRow

ENVELOPE = (
    "check",
    "verdict",
    "verdict_as_found",
    "verdict_as_left",
    "verdict_if_valid",
    "usable",
    "criteria",
    "results",
    "findings",
    "profile",
    "engine",
    "request_digest",
    "labels",
)
CRITERION_FIELDS = {
    "key",
    "name",
    "stage",
    "index",
    "load",
    "value",
    "unit",
    "lower_limit",
    "upper_limit",
    "standard_uncertainty",
    "expanded_uncertainty",
    "coverage_factor",
    "degrees_of_freedom",
    "conformance_probability",
    "margin",
    "distance",
    "tolerance_to_uncertainty",
    "decision_rule",
    "verdict",
    "limit_source",
    "budget",
}

ROW = BudgetRow("digitisation", "rectangular", 0.1 + 0.2, "g", -1.0)
CRITERION = Criterion(
    key="span_error[0]",
    name="span_error",
    unit="g",
    index=0,
    value=Decimal("0.00300"),
    upper_limit=Fraction(1, 3),
    degrees_of_freedom=inf,
    budget=(ROW,),
)
EVALUATION = Evaluation(
    check="span",
    verdict="pass",
    verdict_as_found=None,
    verdict_as_left=None,
    verdict_if_valid=None,
    usable=True,
    criteria=(CRITERION,),
    results={"reveals": [1], "rounds": ({"error": Decimal("-0.0")},), "count": 3},
    findings=(Finding("code", "note", "message"),),
)


def envelope(**kwargs: object) -> dict:
    return answer(
        EVALUATION,
        profile=ProfileIdentity("own", "1", "sha256:0"),
        version="9.9",
        request_digest="sha256:1",
        labels={"a": ""},
        **kwargs,
    )


def test_envelope() -> None:
    said = envelope()
    assert tuple(said) == ENVELOPE
    assert said["profile"] == {"id": "own", "revision": "1", "digest": "sha256:0"}
    assert said["engine"] == {"name": "weighworthy", "version": "9.9", "revision": 1}
    assert said["labels"] == {"a": ""}
    assert said["findings"] == [
        {"code": "code", "severity": "note", "message": "message", "field": None}
    ]


def test_criterion_has_every_field_and_null_where_nothing_applies() -> None:
    (said,) = envelope()["criteria"]
    assert set(said) == CRITERION_FIELDS
    assert said["value"] == 0.003
    assert said["upper_limit"] == 0.333333333333333  # 15 digits
    assert said["lower_limit"] is None
    assert said["degrees_of_freedom"] is None
    assert said["budget"] == [
        {
            "source": "digitisation",
            "distribution": "rectangular",
            "standard_uncertainty": 0.3,  # 0.30000000000000004 at 10 digits
            "unit": "g",
            "sensitivity": -1.0,
            "contribution": 0.3,
            "degrees_of_freedom": None,
        }
    ]


def test_short_answer_has_no_budget_and_no_reveals() -> None:
    said = envelope(short=True)
    assert said["criteria"][0]["budget"] == []
    assert said["results"] == {"rounds": [{"error": 0.0}], "count": 3}


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (None, "null"),
        (7, "7"),
        (Decimal("12.0030"), "12.003"),
        (Decimal("123456789.123456"), "123456789.123456"),
        # Half to even at the fifteenth digit.
        (Decimal("0.1234567890123425"), "0.123456789012342"),
        (Decimal("0.1234567890123435"), "0.123456789012344"),
        (Fraction(2, 3), "0.666666666666667"),
        (0.12345678905, "0.1234567891"),  # the double lies above the half
        (1 / 3, "0.3333333333"),
        (inf, "null"),
        (-0.0, "0.0"),
        (Decimal("-0.000"), "0.0"),
        (Fraction(-1, 10**30), "-1e-30"),
    ],
)
def test_numbers(value: object, written: str) -> None:
    assert json.dumps(number(value)) == written


@given(st.decimals(allow_nan=False, allow_infinity=False, places=9, min_value=-(10**5)))
def test_decimals_of_fifteen_digits_come_back_whole(value: Decimal) -> None:
    if len(value.normalize().as_tuple().digits) <= 15:
        text = json.dumps(number(value))
        assert json.loads(text, parse_float=Decimal, parse_int=Decimal) == value


def test_numbers_deep_in_results_have_the_same_form() -> None:
    said = jsonable({"a": [(Fraction(1, 3), {"b": inf})], "t": True, "n": None, "s": "x"})
    assert said == {"a": [[0.333333333333333, {"b": None}]], "t": True, "n": None, "s": "x"}


def test_digest_is_the_hash_of_the_canonical_request() -> None:
    # By hand: keys sorted, no blanks, null members and labels gone, `check` filled in.
    by_hand = '{"check":"span","rounds":[{"load":["A"]}],"weights":{}}'
    sent = {
        "weights": {"B": None},
        "rounds": [{"load": ["A"], "zero": None}],
        "labels": {"order": "7"},
        "method": None,
    }
    assert request_digest(sent, "span") == "sha256:" + sha256(by_hand.encode()).hexdigest()


def test_digest_does_not_depend_on_order_labels_nulls_or_the_optional_check() -> None:
    first = request_digest({"a": "1 g", "b": {"c": "ü", "d": None}}, "span")
    second = request_digest({"labels": {}, "b": {"c": "ü"}, "a": "1 g", "check": "span"}, "span")
    assert first == second
    assert first != request_digest({"a": "1 g", "b": {"c": "ü"}}, "linearity")
    assert first != request_digest({"a": "1.0 g", "b": {"c": "ü"}}, "span")


names = st.text(st.characters(max_codepoint=0xD7FF), max_size=5)
documents = st.recursive(
    st.text(max_size=5) | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1),
    lambda below: st.lists(below, max_size=3) | st.dictionaries(names, below, max_size=3),
)


@given(documents)
def test_canonical_form_without_floats_is_sorted_compact_json(document: object) -> None:
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert rfc8785.dumps(document) == text.encode()


def test_brief_shows_the_criterion_that_decided() -> None:
    """Of two fails the smaller margin; a pass and what nobody judged are not what decided."""

    def judged(key: str, verdict: str | None, margin: str | None) -> Criterion:
        room = None if margin is None else Fraction(margin)
        return replace(CRITERION, key=key, verdict=verdict, margin=room, distance=room)

    criteria = (
        judged("open", None, None),
        judged("passes", "pass", "0.1"),
        judged("fails", "fail", "-0.5"),
        judged("fails more", "fail", "-0.75"),
    )
    void = replace(EVALUATION, verdict="void", verdict_if_valid="fail", criteria=criteria)
    brief = brief_of(void)
    ruling = brief.ruling
    assert (ruling.verdict, ruling.criterion, brief.margin) == ("void", "fails more", -0.75)
    assert (
        brief_of(replace(EVALUATION, verdict=None, criteria=criteria[:1])).ruling.criterion
        == "open"
    )
