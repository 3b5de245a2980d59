"""Evaluations as records that can be stored anywhere and verified years later.

A record holds the request, the profile, the answer and its seal. Store ``raw`` as it is, or the
document in whatever order a database likes: the seal does not depend on it.
"""

import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import IO, Any, TypeAlias
from urllib.parse import urlencode

from weighworthy.batches import Sender
from weighworthy.inputs import Instant
from weighworthy.record_results import (
    ChainVerification,
    Record,
    Verification,
    plain_number,
    read_record,
)
from weighworthy.replies import json_of
from weighworthy.results import frozen
from weighworthy.site import Site, merged
from weighworthy.values import plain

NDJSON, JSON = "application/x-ndjson", "application/json"
# What is larger waits in a file.
_IN_MEMORY = 16 * 1024 * 1024


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
    return plain_number(item)


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
