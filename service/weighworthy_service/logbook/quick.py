"""Lines of checks with trusted answers, read at a glance. Logbooks have hundreds of thousands.

Such lines differ in little: the same members in the same order, and answers, instruments and
persons that come again and again. So the first of a sort goes the long way, through strict JSON and
the form of an entry, and shows the order of its members, of which a regular expression is made that
takes no other, and what its answer, instrument and person, as texts, were found to say. A later
line of that order with the very same texts is then known to be good, but for its day.

What is in no other line, the expression takes where any reading is the same: each member once, id
and note without escapes and no longer than any bound, times as the form takes them. Whatever else a
line may be, good or bad, is left to the long way, so that this one refuses nothing. A property test
holds both ways together.
"""

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.json_text import MalformedJsonError, parse
from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.reading import PLAIN_KEYS, PLAIN_LENGTH, EntryReader
from weighworthy_service.wire.fields import Instant, instant_of

# So many shapes, answers, and instruments and persons are known, from lines of so many bytes.
_SHAPES: Final = 8
_ANSWERS: Final = 1000
_NAMES: Final = 10_000
_LONGEST: Final = 2000
# Possessive (`+` after the quantifier), so that no line takes longer than its length.
_SPACE: Final = r"[ \t]*+"
_FLAT: Final = r"[^{}\[\]]*+"
_LETTER: Final = r'[^"\\\x00-\x1f]'


def _text(name: str) -> str:
    return f'"(?P<{name}>{_LETTER}{{1,{PLAIN_LENGTH}}}+)"'


def _escaped(name: str) -> str:
    return rf'"(?P<{name}>{_LETTER}*+(?:\\.{_LETTER}*+)*+)"'


_VALUES: Final = MappingProxyType(
    {
        "id": _text("id"),
        "kind": '"check"',
        # Groups that nobody asks for take time.
        "at": f'"(?P<at>{re.sub(r"[(](?![?])", "(?:", Instant.pattern)})"',
        "instrument": _escaped("instrument"),
        "by": f"(?:null|{_escaped('by')})",
        "note": f"(?:null|{_text('note')})",
        # With one level below: the profile of an answer is an object.
        "answer": rf"(?P<answer>\{{{_FLAT}(?:\{{{_FLAT}\}}{_FLAT})*+\}})",
    }
)
_OPTIONAL: Final = ("by", "note")


class QuickLines:
    """Of one logbook: what lines that the reader took have shown."""

    def __init__(self, reader: EntryReader) -> None:
        self._reader = reader
        self._shapes: dict[tuple[str, ...], re.Pattern[str]] = {}
        self._said: dict[str, CheckSaid] = {}
        self._names: dict[str, str] = {}

    def read(self, line: bytes, place: str) -> Entry | None:
        """What the reader would make of a line of the logbook, and counted alike; None: ask it."""
        try:
            text = line.decode()
        except UnicodeDecodeError:
            return None
        for shape in self._shapes.values():
            found = shape.fullmatch(text)
            if found is None:
                continue
            id_, at, instrument, by, note, answer = found.group(
                "id", "at", "instrument", "by", "note", "answer"
            )
            try:
                said, name = self._said[answer], self._names[instrument]
                person = None if by is None else self._names[by]
                instant = instant_of(at)
            except (KeyError, ValueError):  # not shown yet; there is no such day
                return None
            self._reader.count_trusted(said)
            return Entry(id_, "check", instant, name, person, note, said, None, place)
        return None

    def learn(self, line: bytes, document: Mapping[str, Any], entry: Entry) -> None:
        """Learn from a line that the reader took: as `document`, for `entry`."""
        said, names = entry.said, tuple(document)
        if said is None or not said.trusted or not document.keys() <= PLAIN_KEYS:
            return
        if len(line) > _LONGEST or not (names in self._shapes or len(self._shapes) < _SHAPES):
            return
        shape = _shape(names)
        found = shape.fullmatch(line.decode())
        if found is None or not _is(found["answer"], document["answer"]):
            return
        self._shapes[names] = shape
        if len(self._said) < _ANSWERS:
            self._said[found["answer"]] = said
        if len(self._names) < _NAMES:
            self._names[found["instrument"]] = entry.instrument
            if entry.by is not None:
                self._names[found["by"]] = entry.by


@lru_cache(maxsize=64)
def _shape(names: tuple[str, ...]) -> re.Pattern[str]:
    """Of lines with these members, in this order; the group of a member that is not there is."""
    comma, colon = f"{_SPACE},{_SPACE}", f"{_SPACE}:{_SPACE}"
    members = comma.join(f'"{name}"{colon}{_VALUES[name]}' for name in names)
    absent = "".join(f"(?P<{name}>(?!))?" for name in _OPTIONAL if name not in names)
    return re.compile(rf"\{{{_SPACE}{members}{_SPACE}\}}[ \t\r\n]*+{absent}")


def _is(text: str, document: Any) -> bool:
    """Whether a text, by itself, is JSON of this document."""
    try:
        return bool(parse(text.encode()) == document)
    except MalformedJsonError:
        return False
