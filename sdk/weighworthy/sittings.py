"""A sitting: several checks of one balance, judged together.

Field names are those of the JSON document; measured numbers are `decimal.Decimal`.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from weighworthy.errors import ProtocolError
from weighworthy.replies import json_of
from weighworthy.results import Answer, frozen, read_answer


@dataclass(frozen=True, slots=True)
class Reason:
    """What the verdict rests on. ``index`` is the position of the check, ``None`` of a check that
    is missing; ``criterion`` its key, or ``finding`` its code."""

    index: int | None
    check: str
    criterion: str | None
    finding: str | None
    verdict: str | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Sitting:
    """The result of a sitting. ``raw`` holds the bytes to store.

    ``answers`` are those of the checks, in their order, each with the bytes that it would have
    alone. ``losses``, ``evidence`` and ``as_fed`` are read-only JSON: what other checks say of a
    loss, what can be behind a failure, and a second evaluation with figures that the sitting found
    out itself (``None``: there are none). ``data`` is the whole document.
    """

    verdict: str | None
    verdict_as_found: str | None
    verdict_as_left: str | None
    verdict_if_valid: str | None
    usable: bool | None
    because: tuple[Reason, ...]
    findings: Sequence[Mapping[str, Any]] = field(repr=False)
    answers: tuple[Answer, ...] = field(repr=False)
    losses: Sequence[Mapping[str, Any]] = field(repr=False)
    evidence: Mapping[str, Any] = field(repr=False)
    as_fed: Mapping[str, Any] | None = field(repr=False)
    data: Mapping[str, Any] = field(repr=False, compare=False)
    raw: bytes = field(repr=False)
    request_id: str | None = field(default=None, compare=False)


def read_sitting(raw: bytes, request_id: str | None = None) -> Sitting:
    """Read the bytes of the answer to a sitting, also ones stored earlier.

    Raises `ProtocolError` when they are none of this service.
    """
    data = json_of(raw, request_id)
    try:
        return Sitting(
            verdict=data["verdict"],
            verdict_as_found=data["verdict_as_found"],
            verdict_as_left=data["verdict_as_left"],
            verdict_if_valid=data["verdict_if_valid"],
            usable=data["usable"],
            because=tuple(_reason(row) for row in data["because"]),
            findings=frozen(data["findings"]),
            answers=tuple(read_answer(answer, request_id) for answer in _answers(raw)),
            losses=frozen(data["losses"]),
            evidence=frozen(data["evidence"]),
            as_fed=frozen(data["as_fed"]),
            data=frozen(data),
            raw=raw,
            request_id=request_id,
        )
    except (KeyError, TypeError):
        fault = "this is not the answer to a sitting"
        raise ProtocolError(fault, request_id=request_id) from None


def _reason(row: Mapping[str, Any]) -> Reason:
    index = row["index"]
    return Reason(
        index=None if index is None else int(index),
        check=row["check"],
        criterion=row["criterion"],
        finding=row["finding"],
        verdict=row["verdict"],
        sentence=row["sentence"],
    )


def _answers(raw: bytes) -> list[bytes]:
    """The bytes of each answer: numbers come back as the service wrote them."""
    return [
        json.dumps(answer, ensure_ascii=False, separators=(",", ":")).encode()
        for answer in json.loads(raw)["answers"]
    ]
