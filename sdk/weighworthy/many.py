"""Many requests at once: in their order, in bounded memory, over connections that stay open."""

import json
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Any

from weighworthy.batches import NDJSON, Batch, post
from weighworthy.errors import ProtocolError, slug_of
from weighworthy.results import Answer, frozen, read_answer, read_json
from weighworthy.site import merged
from weighworthy.table_answers import read_summary, refuse_type
from weighworthy.twins import Twins
from weighworthy.values import plain

if TYPE_CHECKING:
    from weighworthy.client import Client

_ANSWER = b'"answer":'


@dataclass(frozen=True, slots=True)
class CellFault:
    """One fault of a row: pointer into the request it makes, code, sentence, and the cell."""

    pointer: str
    code: str
    detail: str
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    cell: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """Why one request of many was not judged. It stands where its `Answer` would."""

    type: str
    title: str
    status: int
    detail: str
    errors: tuple[CellFault, ...]
    rows: tuple[int, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def slug(self) -> str:
        """The last part of the type: ``invalid``, ``profile-not-usable``, …"""
        return slug_of(self.type)


def evaluate_many(
    client: "Client", requests: Iterable[Mapping[str, Any]], *, parallel: int, chunk: int
) -> Iterator[Answer | Problem]:
    """See `Client.evaluate_many`."""
    if parallel < 1 or chunk < 1:
        raise ValueError("parallel and chunk are at least 1")
    return _in_order(client, iter(requests), parallel, chunk)


def _in_order(
    client: "Client", requests: Iterator[Mapping[str, Any]], parallel: int, chunk: int
) -> Iterator[Answer | Problem]:
    twins = Twins(client, parallel)

    def judged(body: bytes, count: int) -> list[Answer | Problem]:
        with twins.one() as one:
            return _judged(one, body, count)

    pool = ThreadPoolExecutor(twins.width, "weighworthy-many")
    waiting: deque[Future[list[Answer | Problem]]] = deque()
    try:
        while True:
            lines = [_line(client, request) for request in islice(requests, chunk)]
            if lines:
                waiting.append(pool.submit(judged, b"".join(lines), len(lines)))
            while waiting and (not lines or len(waiting) > parallel):
                yield from waiting.popleft().result()
            if not lines:
                return
    finally:
        pool.shutdown(cancel_futures=True)
        twins.close()


def _line(client: "Client", request: Mapping[str, Any]) -> bytes:
    document = merged(plain(request), client._site)
    return json.dumps(document, ensure_ascii=False, allow_nan=False).encode() + b"\n"


def _judged(client: "Client", body: bytes, count: int) -> list[Answer | Problem]:
    def take(headers: Mapping[str, str], pieces: Iterator[bytes]) -> list[Answer | Problem]:
        refuse_type(headers, NDJSON)
        request_id = headers.get("x-request-id")
        *lines, last = b"".join(pieces).splitlines()
        read_summary(last)
        found = [read_line(line, request_id) for line in lines]
        if len(found) != count:
            raise ProtocolError(f"{len(found)} answers came back to {count} requests")
        return found

    return post(client._stream, Batch((body,), NDJSON, NDJSON), take)


def read_line(line: bytes, request_id: str | None = None) -> Answer | Problem:
    """One line of an answer of many. Raises `ProtocolError`."""
    begin = line.find(_ANSWER)
    if begin >= 0 and line[begin - 1 : begin] == b"," and b'"problem":' not in line[:begin]:
        # The bytes of the answer are those that it would have alone: they are what to store.
        return read_answer(line[begin + len(_ANSWER) : line.rindex(b"}")], request_id)
    try:
        document = read_json(line)
        problem = document["problem"]
        return Problem(
            type=problem["type"],
            title=problem["title"],
            status=int(problem["status"]),
            detail=problem["detail"],
            errors=tuple(_fault(error) for error in problem["errors"]),
            rows=tuple(int(row) for row in document["rows"]),
            labels=frozen(document["labels"]),
        )
    except (ValueError, KeyError, TypeError):
        raise ProtocolError("a line is neither an answer nor a problem") from None


def _fault(error: Mapping[str, Any]) -> CellFault:
    row = error.get("row")
    return CellFault(
        error["pointer"],
        error["code"],
        error["detail"],
        error.get("sheet"),
        None if row is None else int(row),
        error.get("column"),
        error.get("cell"),
    )
