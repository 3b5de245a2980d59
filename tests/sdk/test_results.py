import copy
import dataclasses
import json
import pickle
from decimal import Decimal
from typing import Any

import pytest

from weighworthy import Answer, ProtocolError, read_answer
from weighworthy.results import BudgetRow, Criterion, EngineRef, Finding, ProfileRef


@pytest.fixture
def answer(answer_bytes: bytes) -> Answer:
    return read_answer(answer_bytes, "R1")


def test_every_member_has_its_field(answer: Answer, envelope: dict[str, Any]) -> None:
    def names(cls: type) -> set[str]:
        return {field.name for field in dataclasses.fields(cls)}

    # The explanation is there where it was asked for.
    own = {"raw", "data", "request_id", "explanation"}
    assert names(Answer) - own == set(envelope) - {"grown_later"}
    assert names(Criterion) == set(envelope["criteria"][0])
    assert names(BudgetRow) == set(envelope["criteria"][0]["budget"][0])
    assert names(Finding) == set(envelope["findings"][0])
    assert names(ProfileRef) == set(envelope["profile"])
    assert names(EngineRef) == set(envelope["engine"])


def test_values_are_read(answer: Answer) -> None:
    first = answer.criterion("span_error[0]")
    assert (answer.check, answer.verdict, answer.usable) == ("span", "fail", False)
    assert answer.verdict_as_left is None
    assert first.value == Decimal("0.0021")
    assert first.load == Decimal(50)
    assert first.index == 0
    assert isinstance(first.index, int)
    assert first.degrees_of_freedom is None
    assert first.budget[0].sensitivity == Decimal(1)
    assert answer.findings[0].severity == "warning"
    assert answer.profile == ProfileRef("general", "1", "sha256:00")
    assert answer.engine == EngineRef("weighworthy", "0.1.0", 1)
    assert answer.labels["run"] == "R-7"
    assert answer.request_id == "R1"


def test_numbers_are_decimal_and_keep_their_digits(envelope: dict[str, Any]) -> None:
    raw = json.dumps(envelope).replace("0.0021", "0.0021000000000001").encode()
    answer = read_answer(raw)
    assert str(answer.criterion("span_error[0]").value) == "0.0021000000000001"
    rounds = answer.results["rounds"]
    assert isinstance(rounds[0]["error"], Decimal)
    assert isinstance(rounds[0]["count"], Decimal)


def test_the_bytes_are_kept(answer: Answer, answer_bytes: bytes) -> None:
    assert answer.raw == answer_bytes
    assert read_answer(answer.raw) == answer


def test_what_this_version_does_not_know_is_kept(answer: Answer) -> None:
    assert answer.data["grown_later"]["figure"] == Decimal("0.1")


def test_an_answer_cannot_be_changed(answer: Answer) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        answer.verdict = "pass"  # type: ignore[misc]
    for mapping in (answer.data, answer.results, answer.labels, answer.results["rounds"][0]):
        with pytest.raises(TypeError):
            mapping["x"] = 1
    with pytest.raises(AttributeError):
        answer.results["rounds"].append(1)


def test_an_answer_can_be_pickled_copied_and_put_in_a_set(answer: Answer) -> None:
    for twin in (pickle.loads(pickle.dumps(answer)), copy.deepcopy(answer)):  # noqa: S301
        assert twin == answer
        assert twin.request_id == "R1"
        assert twin.data == answer.data
    assert len({answer, read_answer(answer.raw, "R2")}) == 1


def test_criterion_by_name_when_there_is_one(answer: Answer) -> None:
    assert answer.criterion("span_agreement").verdict is None


def test_criterion_that_is_ambiguous(answer: Answer) -> None:
    with pytest.raises(ValueError, match=r"span_error\[0\], span_error\[1\]"):
        answer.criterion("span_error")


def test_criterion_that_is_not_there(answer: Answer) -> None:
    with pytest.raises(KeyError, match=r"loss_error.*span_error\[0\], .*span_agreement"):
        answer.criterion("loss_error")


def test_the_null_verdict(envelope: dict[str, Any]) -> None:
    envelope["verdict"] = envelope["usable"] = None
    answer = read_answer(json.dumps(envelope).encode())
    assert answer.verdict is None
    assert answer.usable is None


@pytest.mark.parametrize("missing", ["verdict", "criteria", "findings", "profile", "engine"])
def test_a_document_without_the_envelope(envelope: dict[str, Any], missing: str) -> None:
    del envelope[missing]
    with pytest.raises(ProtocolError, match=f"{missing} is missing"):
        read_answer(json.dumps(envelope).encode())


@pytest.mark.parametrize(
    ("member", "value"),
    [
        ("verdict", "PASS"),
        ("check", None),
        ("criteria", {}),
        ("criteria", [1]),
        ("usable", "yes"),
        ("labels", []),
        ("engine", {"name": "weighworthy", "version": "0.1.0", "revision": 1.5}),
    ],
)
def test_members_of_the_wrong_kind(envelope: dict[str, Any], member: str, value: object) -> None:
    envelope[member] = value
    with pytest.raises(ProtocolError, match="not the answer"):
        read_answer(json.dumps(envelope).encode())


def test_a_text_where_a_number_belongs(envelope: dict[str, Any]) -> None:
    envelope["criteria"][0]["value"] = "0.0021"
    with pytest.raises(ProtocolError, match="value is not a number"):
        read_answer(json.dumps(envelope).encode())


@pytest.mark.parametrize(
    "raw", [b"", b"<html>", b"[]", b'{"a": NaN}', b"\xff\xfe", b"[" * 100_000, b"null"]
)
def test_bytes_that_are_no_answer(raw: bytes) -> None:
    with pytest.raises(ProtocolError):
        read_answer(raw)
