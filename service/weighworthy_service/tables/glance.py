"""Requests like earlier ones, read at a glance: their bodies differ in few texts.

A script sends the same members in the same order again and again, down to the last blank. So of a
body that went the long way it is kept where in it the texts stand that differ from request to
request, and what the rest of it was found to say. A later body of which all but those texts is the
same, to the last byte, says the same; the texts themselves are looked at as closely as ever.

Whatever else a body may be, good or bad, is left to the long way, so that this one refuses nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from weighworthy_service.json_text import MalformedJsonError, parse
from weighworthy_service.tables.parting import Parting, Parts
from weighworthy_service.tables.settling import Odd

# Of a laboratory with some hundred balances and several scripts, and a bound on memory, in bytes.
_BODIES: Final = 1024
_LONGEST: Final = 16 * 1024
_TOGETHER: Final = 1024 * 1024
_LABELS: Final = "labels"
_MARK: Final = "\ue125"


@dataclass(frozen=True, slots=True)
class Like:
    """What bodies of one sort have in common: `key` is that of `Parting.part`, as its text.

    `at` are the places of their own texts: those of `Parts.texts`, None for what is not stated, and
    those of the labels, by their names.
    """

    key: str
    at: tuple[int | None, ...]
    labels: Mapping[str, int]


class Glance:
    """Bodies of requests of one kind, read one by one, from any thread."""

    def __init__(self, parting: Parting) -> None:
        self._parting = parting
        # By how many quotes they have: where own texts stand. By all else of them: what it says.
        self._own: dict[int, tuple[int, ...]] = {}
        self._known: dict[str, Like] = {}
        self._kept = 0

    def read(self, raw: bytes) -> tuple[str, Parts, dict[str, str]] | None:
        """The key of what a request has in common with others, its own texts, and its labels.

        None: it is like no earlier one.
        """
        try:
            text = raw.decode()
        except UnicodeDecodeError:
            return None
        pieces = text.split('"')
        own = self._own.get(len(pieces))
        # An escape could hide a quote.
        if own is None or "\\" in text:
            return None
        rest = pieces[:]
        for place in own:
            rest[place] = ""
        like = self._known.get('"'.join(rest))
        if like is None:
            return None
        texts = tuple([None if place is None else pieces[place] for place in like.at])
        labels = {name: pieces[place] for name, place in like.labels.items()}
        # What a text of JSON may not hold is not printable either.
        if not "".join([*filter(None, texts), *labels.values()]).isprintable():
            return None
        try:
            return like.key, self._parting.parts(texts, labels), labels
        except Odd:
            return None

    def learn(self, raw: bytes, document: Mapping[str, Any], key: str) -> None:
        """Learn from a body that was read as `document`, in common with others as `key`."""
        if len(raw) > _LONGEST or b"\\" in raw:
            return
        pieces = raw.decode().split('"')
        places = _places(pieces, document)
        paths = self._parting.paths
        at = tuple([places.get(path) for path in paths])
        labels = {path[1]: place for path, place in places.items() if path[0] == _LABELS}
        own = tuple(sorted({*labels.values(), *[place for place in at if place is not None]}))
        # The first of as many quotes tells where own texts stand.
        if self._own.setdefault(len(pieces), own) != own:
            return
        for place in own:
            pieces[place] = ""
        rest = '"'.join(pieces)
        self._kept += len(rest) if rest not in self._known else 0
        if self._kept > _TOGETHER or len(self._known) >= _BODIES:
            self._own, self._known, self._kept = {}, {}, 0
            return
        self._known[rest] = Like(key, at, labels)


def _places(pieces: list[str], document: Mapping[str, Any]) -> dict[tuple[str, ...], int]:
    """Where in the pieces the texts of a document stand, by their paths; those of lists do not."""
    marked = [f"{_MARK}{i}" if i % 2 else piece for i, piece in enumerate(pieces)]
    try:
        other = parse('"'.join(marked).encode())
    except MalformedJsonError:
        return {}
    found: dict[tuple[str, ...], int] = {}
    _walk((), document, other, found)
    return found


def _walk(path: tuple[str, ...], one: Any, other: Any, found: dict[tuple[str, ...], int]) -> None:
    """Through both, which are alike but for their texts."""
    if isinstance(one, str):
        found[path] = int(other.removeprefix(_MARK))
    elif isinstance(one, Mapping):
        for (name, below), marked in zip(one.items(), other.values(), strict=True):
            _walk((*path, name), below, marked, found)
