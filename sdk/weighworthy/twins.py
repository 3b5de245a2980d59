"""Clients of one service for several threads, with connections that stay open."""

from collections.abc import Iterator
from contextlib import contextmanager
from queue import SimpleQueue
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from weighworthy.client import Client


class Twins:
    """Up to ``count`` clients like ``client``, lent to one thread at a time.

    ``width`` is how many threads they are for: a session that somebody gave is for one alone.
    """

    def __init__(self, client: "Client", count: int) -> None:
        self._client = client
        self._all = list(dict.fromkeys(client._twin() for _ in range(count)))
        self._idle: SimpleQueue[Client] = SimpleQueue()
        for one in self._all:
            self._idle.put(one)

    @property
    def width(self) -> int:
        """How many there are."""
        return len(self._all)

    @contextmanager
    def one(self) -> Iterator["Client"]:
        """One that no other thread has; waits for it."""
        lent = self._idle.get()
        try:
            yield lent
        finally:
            self._idle.put(lent)

    def close(self) -> None:
        """Close them all but the client that they are like."""
        for one in self._all:
            if one is not self._client:
                one.close()
