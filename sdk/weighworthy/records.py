"""Evaluations as records that can be stored anywhere and verified years later.

A record holds the request, the profile, the answer and its seal. Store ``raw`` as it is, or the
document in whatever order a database likes: the seal does not depend on it.
"""

import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import IO, Any, TypeAlias
from urllib.parse import urlencode

from weighworthy.batches import Sender
from weighworthy.errors import ProtocolError
from weighworthy.inputs import Instant
from weighworthy.replies import json_of
from weighworthy.results import Answer, frozen, read_answer, read_json
from weighworthy.site import Site, merged
from weighworthy.values import plain

NDJSON, JSON = "application/x-ndjson", "application/json"
# What is larger waits in a file.
_IN_MEMORY = 16 * 1024 * 1024


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


RecordLike: TypeAlias = Record | Mapping[str, Any] | bytes | str | os.PathLike[str]


@dataclass(frozen=True, slots=True)
class Records:
    """The calls about records, reached as ``client.records``; errors as `Client.evaluate`.

    A record is what `seal` gave, its document, its bytes, or the path of a file of them.
    """

    _send: Callable[..., tuple[bytes, str | None]]
    _stream: Sender
    _site: Site

    def seal(
        self,
        kind: str,
        request: Mapping[str, Any],
        *,
        previous: Record | str | None = None,
        sealed_at: Instant | None = None,
        request_id: str | None = None,
    ) -> Record:
        """Judge a request document of any kind and seal the evaluation.

        ``previous`` is the record before this one in its chain, or its digest; ``sealed_at`` the
        time that is sealed with it, of this computer if not said: the service has no clock.
        """
        document = {
            "request": {**merged(plain(request), self._site), "check": kind},
            "previous": previous.digest if isinstance(previous, Record) else previous,
            "sealed_at": plain(sealed_at or datetime.now(UTC).replace(microsecond=0), "sealed_at"),
        }
        return read_record(*self._send("POST", "/v1/records/seal", document, request_id))

    def verify(self, record: RecordLike) -> Verification:
        """What agrees of a record: seal, profile, verdict, every number.

        An altered record is a result, not an exception. What has not the form of a record raises
        `Invalid` or `MalformedJson`, which say what is missing and where.
        """
        raw = _bytes_of(record)
        body, request_id = self._posted("/v1/records/verify", JSON, [raw])
        data = json_of(body, request_id)
        return Verification(
            data["seal"],
            data["agrees"],
            data["profile"],
            data["verdict"],
            frozen(data["numbers"]),
            frozen(data["others"]),
            frozen(data["reasons"]),
            data["key_id"],
            data["digest"],
            frozen(data),
            body,
        )

    def verify_chain(
        self,
        records: str | os.PathLike[str] | Iterable[RecordLike],
        *,
        last: Record | str | None = None,
    ) -> ChainVerification:
        """Whether records follow each other without a gap, and what agrees of each.

        ``records``: in the order in which they were sealed, or a file with one a line. ``last``:
        the last record, or its digest, as known from elsewhere; without it, nothing shows that the
        newest records are missing.
        """
        digest = last.digest if isinstance(last, Record) else last
        path = "/v1/records/verify-chain" + (f"?{urlencode({'last': digest})}" if digest else "")
        if isinstance(records, str | os.PathLike):
            with Path(records).open("rb") as file:
                body, request_id = self._posted(path, NDJSON, file)
        else:
            lines = (_line(_bytes_of(record)) for record in records)
            body, request_id = self._posted(path, NDJSON, lines)
        data = json_of(body, request_id)
        return ChainVerification(
            data["agrees"],
            data["unbroken"],
            int(data["records"]),
            frozen({name: int(count) for name, count in data["seals"].items()}),
            frozen(data["breaks"]),
            frozen(data["faults"]),
            frozen(data["last"]),
            frozen(data),
            body,
        )

    def keys(self) -> Any:
        """The public keys that the service knows seals by, a JWK set (RFC 7517), read-only."""
        return frozen(json_of(*self._send("GET", "/v1/records/keys", None, None)))

    def _posted(
        self, path: str, media_type: str, pieces: Iterable[bytes]
    ) -> tuple[bytes, str | None]:
        with _spooled(pieces) as spool:

            def body() -> Any:
                spool.seek(0)
                return spool

            headers = {
                "Accept": JSON,
                "Content-Type": media_type,
                "Content-Length": str(spool.tell()),
            }
            return self._stream(path, body, headers, _whole)


def read_record(raw: bytes, request_id: str | None = None) -> Record:
    """Read the bytes of a record, also ones stored earlier; nothing of them is verified.

    Raises `ProtocolError` when they are not a record.
    """
    try:
        data = read_json(raw)
        if not isinstance(data, dict):
            raise ValueError("it is no object")
        # Only to be read: what the seal speaks of is in `raw`.
        answer = read_answer(json.dumps(data["answer"], default=_number).encode(), request_id)
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


def _bytes_of(record: RecordLike) -> bytes:
    if isinstance(record, Record):
        return record.raw
    if isinstance(record, bytes):
        return record
    if isinstance(record, Mapping):
        return json.dumps(record, ensure_ascii=False, default=_plain).encode()
    return Path(record).read_bytes()


def _plain(item: Any) -> Any:
    if isinstance(item, Mapping):
        return dict(item)
    return _number(item)


def _number(item: Any) -> Any:
    # From the text of a double, so it becomes that double again.
    if isinstance(item, Decimal):
        whole = item == item.to_integral_value() and abs(item) < 2**53
        return int(item) if whole else float(item)
    raise TypeError(f"{type(item).__name__} is no part of a record")


def _line(raw: bytes) -> bytes:
    """A record on one line; breaks stand between members only, for in texts they are escaped."""
    return raw.replace(b"\r", b" ").replace(b"\n", b" ") + b"\n"


@contextmanager
def _spooled(pieces: Iterable[bytes]) -> Iterator[IO[bytes]]:
    with SpooledTemporaryFile(_IN_MEMORY) as spool:
        for piece in pieces:
            spool.write(piece)
        yield spool


def _whole(headers: Mapping[str, str], pieces: Iterator[bytes]) -> tuple[bytes, str | None]:
    return b"".join(pieces), headers.get("x-request-id")
