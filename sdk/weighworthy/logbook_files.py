"""Logbooks and results in files: one JSON document, or lines of JSON."""

import json
import os
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import Any, TypeAlias

# A line as it stands in its file, or an entry as a mapping.
Line: TypeAlias = bytes | Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class OpenBook:
    """A logbook that is read once: all but its entries, and the entries as they come.

    ``numbered``: what is sent has the line numbers of the file.
    """

    head: Mapping[str, Any]
    entries: Iterator[Line] = field(repr=False)
    name: str = "entries"
    numbered: bool = False


def open_book(path: str | os.PathLike[str]) -> OpenBook:
    """A logbook in a file. Raises ``OSError``; ``ValueError`` naming file and line."""
    return book_of_lines(_lines(Path(path)), str(path))


def book_of_lines(lines: Iterator[bytes], name: str) -> OpenBook:
    """A logbook from the lines of a file or a stream, UTF-8, a byte order mark allowed.

    A document is told from lines by what its first line holds: an object with ``entries``, or only
    the beginning of one. Raises ``ValueError`` naming ``name`` and line.
    """
    blank = 0
    for first in lines:
        if not first.removeprefix(b"\xef\xbb\xbf").isspace():
            break
        blank += 1
    else:
        raise ValueError(f"{name}: empty; the first line says at, profile, …, or {{}}")
    try:
        head = parsed(first, f"{name}:{blank + 1}")
    except _UnfinishedError:
        return _document(parsed(b"".join((first, *lines)), name), name)
    if "entries" in head:
        rest = next((line for line in lines if not line.isspace()), None)
        if rest is not None:
            raise ValueError(f"{name}: has entries on its first line, and lines after it")
        return _document(head, name)
    if "kind" in head:
        said = "this is an entry; the first line says all else (at, profile, …), or {}"
        raise ValueError(f"{name}:{blank + 1}: {said}")
    return OpenBook(head, chain([b"\n"] * blank, lines), name, numbered=True)


def read_results(path: str | os.PathLike[str]) -> list[dict[str, Any]]:
    """Results, an object a line. Raises ``OSError``; ``ValueError`` naming file and line."""
    return [
        parsed(line, f"{path}:{number}")
        for number, line in enumerate(_lines(Path(path)), start=1)
        if not line.removeprefix(b"\xef\xbb\xbf").isspace()
    ]


class _UnfinishedError(ValueError):
    """Text that ends before its JSON does."""


def parsed(raw: bytes, where: str) -> dict[str, Any]:
    """The JSON object that a text is. Raises ``ValueError`` beginning with ``where``."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueError(f"{where}: not UTF-8") from error
    try:
        document = json.loads(text, parse_constant=_no_number, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        kind = _UnfinishedError if error.pos >= len(text.rstrip()) else ValueError
        raise kind(f"{where}: not JSON: {error}") from error
    except (ValueError, RecursionError) as error:
        raise ValueError(f"{where}: not JSON: {error}") from error
    if not isinstance(document, dict):
        raise ValueError(f"{where}: not a JSON object")
    return document


def _no_number(name: str) -> Any:
    raise ValueError(f"{name} is no number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object of JSON, each of its keys once; which of two is meant is not guessed."""
    found = dict(pairs)
    if len(found) < len(pairs):
        counts = Counter(key for key, _ in pairs)
        twice = next(key for key, count in counts.items() if count > 1)
        raise ValueError(f"the key {twice[:64]!r} occurs twice in one object")
    return found


def _document(document: dict[str, Any], name: str) -> OpenBook:
    entries = document.pop("entries", None)
    if entries is None:
        entries = []
    if not isinstance(entries, list) or not all(isinstance(one, dict) for one in entries):
        raise ValueError(f"{name}: entries must be a list of objects")
    return OpenBook(document, iter(entries), name)


def _lines(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        yield from file
