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
# In place of a request that cannot be sent, so that the others keep their numbers.
_NOTHING = b"null\n"


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
    """Why one request of many was not judged. It stands where its `Answer` would.

    ``rows`` are those of the table; of `evaluate_many`, the number of the request, from 1.
    """

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

    def judged(lines: list[bytes | Problem], first: int) -> list[Answer | Problem]:
        with twins.one() as one:
            return _judged(one, lines, first)

    pool = ThreadPoolExecutor(twins.width, "weighworthy-many")
    waiting: deque[Future[list[Answer | Problem]]] = deque()
    numbered = enumerate(requests, start=1)
    try:
        while True:
            some = list(islice(numbered, chunk))
            if some:
                lines = [_line(client, request, number) for number, request in some]
                waiting.append(pool.submit(judged, lines, some[0][0]))
            while waiting and (not some or len(waiting) > parallel):
                yield from waiting.popleft().result()
            if not some:
                return
    finally:
        pool.shutdown(cancel_futures=True)
        twins.close()


def _line(client: "Client", request: Any, number: int) -> bytes | Problem:
    """What is sent for a request, or why it cannot be."""
    try:
        if not isinstance(request, Mapping):
            raise TypeError(f"a request is a dict, not {type(request).__name__}")
        document = merged(plain(request), client._site)
        return json.dumps(document, ensure_ascii=False, allow_nan=False).encode() + b"\n"
    except (TypeError, ValueError, RecursionError) as error:
        fault = CellFault("", "not-sent", str(error), row=number)
        title = "The request cannot be sent"
        return Problem("/problems/invalid", title, 422, str(error), (fault,), (number,))


def _judged(client: "Client", lines: list[bytes | Problem], first: int) -> list[Answer | Problem]:
    def take(headers: Mapping[str, str], pieces: Iterator[bytes]) -> list[Answer | Problem]:
        refuse_type(headers, NDJSON)
        request_id = headers.get("x-request-id")
        *found, last = b"".join(pieces).splitlines()
        read_summary(last)
        if len(found) != len(lines):
            raise ProtocolError(f"{len(found)} answers came back to {len(lines)} requests")
        return [
            sent if isinstance(sent, Problem) else read_line(line, request_id)
            for sent, line in zip(lines, found, strict=True)
        ]

    body = b"".join(_NOTHING if isinstance(line, Problem) else line for line in lines)
    query = {} if first == 1 else {"first_row": str(first)}
    return post(client._stream, Batch((body,), NDJSON, NDJSON, query=query), take)


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
