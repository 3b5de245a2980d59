"""One request for many checks: sent as they lie on disk, answered as they are judged."""

import io
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, TypeVar
from urllib.parse import urlencode

CSV, NDJSON = "text/csv", "application/x-ndjson"
CELLS = "application/vnd.weighworthy.cells+x-ndjson"
_T = TypeVar("_T")

Take = Callable[[Mapping[str, str], Iterator[bytes]], _T]


@dataclass(frozen=True, slots=True)
class FileRange:
    """A part of a file, read when it is sent."""

    path: Path
    offset: int
    length: int


@dataclass(frozen=True, slots=True)
class Batch:
    """A table with what it is judged by; it can be handed to another process.

    ``mapping``, ``profile`` and ``logbook`` are documents; ``query`` may name mappings and profiles
    that the service knows.
    """

    table: tuple[bytes | FileRange, ...]
    type: str
    accept: str
    mapping: bytes | None = None
    profile: bytes | None = None
    query: Mapping[str, str] = field(default_factory=dict)
    logbook: bytes | None = None

    @property
    def beside(self) -> Mapping[str, bytes]:
        """The documents that go along, each by the name of its part."""
        parts = {"logbook": self.logbook, "mapping": self.mapping, "profile": self.profile}
        return {name: document for name, document in parts.items() if document is not None}


class Sender(Protocol):
    """What sends a body and hands the answer on; `Client` has it."""

    def __call__(
        self, path: str, body: Callable[[], Any], headers: Mapping[str, str], take: Take[_T]
    ) -> _T:
        """Raises `WeighworthyError`."""


class Body(io.RawIOBase):
    """Bytes and parts of files one after the other, as one stream of known length."""

    def __init__(self, parts: tuple[bytes | FileRange, ...]) -> None:
        super().__init__()
        self._parts, self._open = iter(parts), io.BytesIO()
        self._left = self._position = 0
        self._length = sum(p.length if isinstance(p, FileRange) else len(p) for p in parts)

    def __len__(self) -> int:
        return self._length

    def tell(self) -> int:
        return self._position

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        while not self._left:
            part = next(self._parts, None)
            if part is None:
                return 0
            self._open.close()
            if isinstance(part, FileRange):
                self._open = part.path.open("rb")  # type: ignore[assignment]
                self._open.seek(part.offset)
                self._left = part.length
            else:
                self._open, self._left = io.BytesIO(part), len(part)
        data = self._open.read(min(len(buffer), self._left))
        if not data:
            raise OSError("the table became shorter while it was sent")
        buffer[: len(data)] = data
        self._left -= len(data)
        self._position += len(data)
        return len(data)

    def close(self) -> None:
        self._open.close()
        super().close()


def post(send: Sender, batch: Batch, take: Take[_T]) -> _T:
    """Send a batch; ``take`` gets headers and pieces of the answer. Raises `WeighworthyError`."""
    path = "/v1/batches" + (f"?{urlencode(batch.query)}" if batch.query else "")
    return post_to(send, path, batch, take)


def post_to(send: Sender, path: str, batch: Batch, take: Take[_T]) -> _T:
    """The same to another address that takes a table."""
    parts, content_type = batch.table, batch.type
    if batch.beside:
        boundary = uuid.uuid4().hex
        parts = tuple(_multipart(batch, boundary))
        content_type = f"multipart/form-data; boundary={boundary}"
    headers = {"Content-Type": content_type, "Accept": batch.accept}
    return send(path, lambda: Body(parts), headers, take)


def _multipart(batch: Batch, boundary: str) -> Iterator[bytes | FileRange]:
    for name, document in batch.beside.items():
        yield _part_head(boundary, name, "application/octet-stream") + document + b"\r\n"
    yield _part_head(boundary, "table", batch.type)
    yield from batch.table
    yield f"\r\n--{boundary}--\r\n".encode()


def _part_head(boundary: str, name: str, content_type: str) -> bytes:
    return (
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"; filename="{name}"\r\n'
        f"Content-Type: {content_type}\r\n\r\n"
    ).encode()
