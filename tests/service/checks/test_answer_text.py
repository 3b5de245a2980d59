"""The text of an answer is that of its document, to the last byte, whatever is in it.

For answers to real requests, tests/service/tables/test_quick.py and tests/properties hold both
together; here stands what no check has brought so far.
"""

from decimal import Decimal
from fractions import Fraction
from math import inf, nan
from typing import Any

import pytest

from weighworthy_service.checks.answer import answer
from weighworthy_service.checks.answer_text import answer_text
from weighworthy_service.checks.outcome import Criterion, Evaluation, Finding
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.json_text import to_bytes
from weighworthy_service.metrology.budget import BudgetRow

FORM: dict[str, Any] = {
    "profile": ProfileIdentity("kestrel", "2026%03", "sha256:0"),
    "version": "1.0",
    "request_digest": "sha256:1",
    "labels": {"%s": 'a "quoted" name\n', "é": "µ\U0001f600"},
}
ROW = BudgetRow('a "source" of 5 %', "normal", -0.0, "g", 1, inf)


def evaluation(value: Any) -> Evaluation:
    criterion = Criterion("span_error[0]", "span_error", "g", 0, value=Decimal(1), budget=(ROW,))
    results = {"100 %": [value, {"a\\b": (value, True, None, "x")}], "reveals": [], "none": {}}
    finding = Finding("code", "note", "50 %s of it", None)
    return Evaluation("span", None, None, "pass", "fail", None, (criterion,), results, (finding,))


@pytest.mark.parametrize(
    "value",
    [
        0,
        -1,
        1.0,
        -0.0,
        1e-5,
        1.5e-5,
        1.25e12,
        99999999999.5,
        0.123456789049,
        1e16,
        1e300,
        inf,
        Decimal("0.10"),
        Fraction(1, 3),
        "%d",
        False,
        [],
    ],
)
@pytest.mark.parametrize("short", [True, False])
def test_same_bytes_as_its_document(value: Any, *, short: bool) -> None:
    said = answer_text(evaluation(value), **FORM, short=short)
    assert said == to_bytes(answer(evaluation(value), **FORM, short=short))


def test_whole_numbers_and_floats_are_told_apart() -> None:
    for row in (ROW, ROW._replace(standard_uncertainty=0), ROW._replace(degrees_of_freedom=9)):
        for degrees in (row.degrees_of_freedom, float(row.degrees_of_freedom)):
            criterion = Criterion("k", "k", "g", budget=(row._replace(degrees_of_freedom=degrees),))
            one = Evaluation("span", None, None, None, None, None, (criterion,), {}, ())
            assert answer_text(one, **FORM) == to_bytes(answer(one, **FORM))


def test_what_is_not_a_number_has_no_text() -> None:
    with pytest.raises(ValueError, match="not a number"):
        answer_text(evaluation(nan), **FORM)
