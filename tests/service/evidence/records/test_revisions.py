"""Records of earlier engines: what a revision states may differ, and nothing else."""

from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest

from weighworthy_service.checks.answer import ENGINE_REVISION
from weighworthy_service.evidence.records.content import digest_of, payload_of
from weighworthy_service.evidence.records.differences import Difference, differences
from weighworthy_service.evidence.records.keys import NO_KEYS
from weighworthy_service.evidence.records.revisions import REVISIONS, Revision, stated_effect
from weighworthy_service.evidence.records.verification import Verification, verify

Ask = Callable[..., Any]
VERSION = "9.9.9"
# As if a later engine computed degrees of freedom otherwise, and with them k and U.
LATER = (
    *REVISIONS,
    Revision(
        ENGINE_REVISION + 1,
        "degrees of freedom are rounded down",
        ("/criteria/*/degrees_of_freedom", "/criteria/*/coverage_factor"),
    ),
    Revision(ENGINE_REVISION + 2, "something else", ("/results/*",)),
)


def test_every_revision_of_the_engine_is_in_the_table() -> None:
    assert [one.number for one in REVISIONS] == list(range(1, ENGINE_REVISION + 1))
    assert all(one.effect for one in REVISIONS)


def verified(record: dict[str, Any], present: int) -> Verification:
    record = {**record, "signature": None}
    record["digest"] = digest_of(payload_of(record))
    return verify(record, NO_KEYS, VERSION, LATER, present)


@pytest.fixture
def changed(record: dict[str, Any]) -> dict[str, Any]:
    copy = deepcopy(record)
    copy["answer"]["criteria"][0]["coverage_factor"] = 2.01
    return copy


def test_a_stated_difference_is_explained(changed: dict[str, Any]) -> None:
    told = verified(changed, ENGINE_REVISION + 1)
    assert told.agrees
    (one,) = told.told
    assert one.difference.pointer == "/criteria/0/coverage_factor"
    assert one.explanation == (
        f"engine revision {ENGINE_REVISION + 1}: degrees of freedom are rounded down"
    )


def test_the_same_difference_without_a_new_revision_is_not(changed: dict[str, Any]) -> None:
    assert not verified(changed, ENGINE_REVISION).agrees


def test_a_difference_elsewhere_is_not(changed: dict[str, Any]) -> None:
    changed["answer"]["criteria"][0]["value"] = 0.0
    told = verified(changed, ENGINE_REVISION + 1)
    assert not told.agrees
    assert [one.difference.pointer for one in told.told if one.explanation is None] == [
        "/criteria/0/value"
    ]


def test_only_revisions_between_the_two_count() -> None:
    place, now = "/results/loss", ENGINE_REVISION
    assert stated_effect(place, now, now + 1, LATER) is None
    assert stated_effect(place, now, now + 2, LATER) is not None
    assert stated_effect(place, now + 2, now + 2, LATER) is None


def test_a_member_that_is_missing_is_a_difference(record: dict[str, Any]) -> None:
    del record["answer"]["verdict"]
    told = verified(record, ENGINE_REVISION)
    assert told.verdict == "differs"
    assert not told.agrees


def test_an_answer_that_says_nothing_of_its_engine(record: dict[str, Any]) -> None:
    del record["answer"]["engine"]
    told = verified(record, ENGINE_REVISION)
    assert not told.agrees
    assert "engine-unknown" in [reason.code for reason in told.reasons]


@pytest.mark.parametrize(
    ("recorded", "recomputed", "within"),
    [
        # A unit in the tenth digit, which is what numbers that rest on floats are shown with:
        # 1e-9 of 1 is the whole of the difference; of 2.5 it would be 2.5e-9.
        (1.000000001, 1.0, True),
        (2.500000003, 2.5, False),
        (0.0, 1e-300, False),
        (-1.0, 1.0, False),
        (None, 1.0, False),
    ],
)
def test_numbers_of_other_platforms(recorded: Any, recomputed: Any, within: bool) -> None:
    assert Difference("/n", recorded, recomputed).within_agreement is within


def test_differences_by_hand() -> None:
    was = {"a": [1, {"b": "x"}], "c": None, "d": True, "e": 1, "gone": 1}
    now = {"a": [1.0, {"b": "y"}, 3], "c": 0, "d": 1, "e": 1.0, "new": {}}
    told = [tuple(one) for one in differences(was, now)]
    assert told == [
        ("/a/1/b", "x", "y", None),
        ("/a/2", None, 3, "recorded"),
        ("/c", None, 0, None),
        ("/d", True, 1, None),
        ("/new", None, "an object with 0 members", "recorded"),
        ("/gone", 1, None, "recomputed"),
    ]
    assert [Difference(*one).of_numbers for one in told] == [False, True, True, False, False, True]


def test_another_version_may_word_a_finding_otherwise(seal: Ask, example: Ask) -> None:
    """Its code and severity count; so does its sentence, where the version is the same."""
    request = example(0, performed_at=None)
    del request["instrument"]["repeatability"]
    record = seal(request)
    assert record["answer"]["findings"], "the example must have a finding to be worded"
    record["answer"]["findings"][0]["message"] = "Said otherwise."
    told = verified(record, ENGINE_REVISION)
    assert told.agrees
    (one,) = told.told
    assert one.explanation == "another version words its sentences otherwise"
    record["answer"]["engine"]["version"] = VERSION
    assert not verified(record, ENGINE_REVISION).agrees
    record["answer"]["engine"]["version"] = "0.0.1"
    record["answer"]["findings"][0]["code"] = "other"
    assert not verified(record, ENGINE_REVISION).agrees
