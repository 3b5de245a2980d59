"""Problem documents: one table, one form, RFC 9457."""

import pytest

from weighworthy_service.wire.coded import FieldError
from weighworthy_service.wire.problem import PROBLEMS, ProblemForm, problem_document

# The agreed kinds, typed by hand.
AGREED = {
    "malformed-json": 400,
    "key-missing": 401,
    "key-not-allowed": 403,
    "not-found": 404,
    "method-not-allowed": 405,
    "not-acceptable": 406,
    "digest-differs": 409,
    "length-required": 411,
    "too-large": 413,
    "unsupported-media-type": 415,
    "invalid": 422,
    "profile-not-usable": 422,
    "mapping-not-usable": 422,
    "group-incomplete": 422,
    "rate-limited": 429,
    "internal": 500,
    "overloaded": 503,
}


def test_every_agreed_kind_is_in_the_table_with_its_status() -> None:
    assert AGREED.items() <= {slug: kind.status for slug, kind in PROBLEMS.items()}.items()


@pytest.mark.parametrize("slug", PROBLEMS)
def test_document_has_every_field(slug: str) -> None:
    document = problem_document(slug, "what happened", "r-1")
    assert set(document) == set(ProblemForm().fields)
    assert document["type"] == f"/problems/{slug}"
    assert document["title"] == PROBLEMS[slug].title
    assert document["errors"] == []


def test_faults_are_told_in_order_and_at_most_a_hundred() -> None:
    faults = [FieldError(f"/{i}", "code", "detail") for i in range(150)]
    document = problem_document("invalid", "too much", "r-1", faults)
    assert len(document["errors"]) == 100
    assert document["errors"][7] == {"pointer": "/7", "code": "code", "detail": "detail"}
