"""Which weights a request puts on the pan, whatever its kind calls its readings."""

from collections.abc import Iterator, Mapping
from typing import Any


def weights_used(request: Mapping[str, Any]) -> list[str]:
    """Names of weights in the order of their use: of the whole check, of its parts such as a start
    and an end, then of the rows of its lists."""
    parts = [value for value in request.values() if isinstance(value, Mapping)]
    lists = [value for value in request.values() if isinstance(value, list | tuple)]
    rows = [row for rows in lists for row in rows if isinstance(row, Mapping)]
    return list(dict.fromkeys(name for part in (request, *parts, *rows) for name in _load(part)))


def _load(part: Mapping[str, Any]) -> Iterator[str]:
    load = part.get("load")
    if isinstance(load, list | tuple):
        yield from load
