"""What is left to do; how crossings follow from shifts is tested where they are made."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.entries import Result
from weighworthy_service.logbook.needs import ASSESSMENT, CROSSINGS, STATES, crossing, needs
from weighworthy_service.wire.logbook import OUTCOMES, AssessmentForm, entry_form

LIMITED = Result("R", "MA-07", datetime(2026, 3, 2, tzinfo=UTC), upper_limit=Decimal(10))
UNLIMITED = LIMITED._replace(upper_limit=None)


def test_what_an_assessment_must_say_is_what_the_form_requires() -> None:
    fields = AssessmentForm().fields
    asked = {name for name, field in fields.items() if field.required}
    # Who decided is a field of every entry, and required of this kind.
    assert {name for name, _ in ASSESSMENT} == {*asked, "by"}
    assert "by" in entry_form(BY_SLUG)().fields
    outcome = dict(ASSESSMENT)["outcome"]
    assert all(one in outcome for one in OUTCOMES)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("crossed", [None, *CROSSINGS])
def test_an_assessment_leaves_nothing_to_do(state: Any, crossed: Any) -> None:
    assert needs(LIMITED, state, crossed, failed=True, assessed=True) == "nothing"


@pytest.mark.parametrize(
    ("result", "state", "crossed", "failed", "expected"),
    [
        (LIMITED, "supported", None, False, "nothing"),
        (LIMITED, "open", None, False, "nothing"),
        (LIMITED, "unconfirmed", None, False, "assessment"),
        (LIMITED, "in-doubt", "cannot", True, "assessment"),
        (LIMITED, "in-doubt", "could", True, "action"),
        (LIMITED, "in-doubt", "unknown", True, "action"),
        (UNLIMITED, "in-doubt", "unknown", True, "assessment"),
        (LIMITED, "unsupported", "could", True, "action"),
        (LIMITED, "unsupported", "unknown", True, "action"),
        (LIMITED, "unsupported", "unknown", False, "assessment"),
    ],
)
def test_what_is_left_to_do(
    result: Result, state: Any, crossed: Any, failed: bool, expected: str
) -> None:
    assert needs(result, state, crossed, failed=failed, assessed=False) == expected


def test_without_a_shift_nothing_is_known() -> None:
    assert crossing(LIMITED._replace(loss=Decimal(9)), ()) == "unknown"
