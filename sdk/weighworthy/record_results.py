"""Records, and what is told of them, as frozen values; field names are those of the document."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from weighworthy.errors import ProtocolError
from weighworthy.results import Answer, frozen, read_answer, read_json


@dataclass(frozen=True, slots=True)
class Record:
    """A sealed evaluation. ``raw`` are the bytes to store; ``data`` is the document, read-only.

    ``signature`` is ``None`` where the service holds no key: then only the digest speaks for it.
    """

    digest: str
    previous: str | None
    sealed_at: str
    signature: str | None
    answer: Answer = field(repr=False, compare=False)
    raw: bytes = field(repr=False)
    data: Mapping[str, Any] = field(repr=False, compare=False)
    request_id: str | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Verification:
    """What agrees of a record; fields as in the JSON document.

    ``seal`` is ``ok``, ``altered``, ``unknown-key`` or ``unsigned``. ``agrees``: the digest is that
    of the content, and profile, verdict and numbers come out again.
    """

    seal: str
    agrees: bool
    profile: str
    verdict: str
    numbers: tuple[Mapping[str, Any], ...]
    others: tuple[Mapping[str, Any], ...]
    reasons: tuple[Mapping[str, Any], ...]
    key_id: str | None
    digest: str
    data: Mapping[str, Any] = field(repr=False, compare=False)
    raw: bytes = field(repr=False)

    @property
    def sound(self) -> bool:
        """Signed by a known key, unchanged since, and everything comes out again."""
        return self.seal == "ok" and self.agrees


@dataclass(frozen=True, slots=True)
class ChainVerification:
    """What records come to in their order; fields as in the JSON document.

    ``breaks`` name the records that do not follow the one before them, ``faults`` those that do
    not agree by themselves, are no records, or whose seal does not hold.
    """

    agrees: bool
    unbroken: bool
    records: int
    seals: Mapping[str, int]
    breaks: tuple[Mapping[str, Any], ...]
    faults: tuple[Mapping[str, Any], ...]
    last: Mapping[str, Any] | None
    data: Mapping[str, Any] = field(repr=False, compare=False)
    raw: bytes = field(repr=False)

    @property
    def sound(self) -> bool:
        """Every record is signed by a known key and agrees, and none is out of place."""
        return self.agrees and self.seals["ok"] == self.records


def read_record(raw: bytes, request_id: str | None = None) -> Record:
    """Read the bytes of a record, also ones stored earlier; nothing of them is verified.

    Raises `ProtocolError` when they are not a record.
    """
    try:
        data = read_json(raw)
        if not isinstance(data, dict):
            raise ValueError("it is no object")
        # Only to be read: what the seal speaks of is in `raw`.
        answer = read_answer(json.dumps(data["answer"], default=plain_number).encode(), request_id)
        return Record(
            data["digest"],
            data["previous"],
            data["sealed_at"],
            data["signature"],
            answer,
            raw,
            frozen(data),
            request_id,
        )
    except KeyError as error:
        fault = f"{error.args[0]} is missing"
    except ValueError as error:
        fault = str(error)
    raise ProtocolError(f"this is not a record: {fault}", request_id=request_id)


def plain_number(item: Any) -> Any:
    """A number as `json` writes it. Raises ``TypeError`` for anything else."""
    # From the text of a double, so it becomes that double again.
    if isinstance(item, Decimal):
        whole = item == item.to_integral_value() and abs(item) < 2**53
        return int(item) if whole else float(item)
    raise TypeError(f"{type(item).__name__} is no part of a record")
