"""What the XML of a sheet shows before it is read: formulas, what is hidden, where content ends,
and rows that stand below their place, which the library that reads sheets would pass over.

Nothing is parsed here (ECMA-376 part 1, 18.3): marks are looked for in the text, which costs a
hundredth of the time. Where anything is written in an unusual way, nothing is said of where content
ends, so that no row is lost.
"""

import re
import zipfile
from dataclasses import dataclass, field
from itertools import pairwise

_STEP = 1024 * 1024
# Longer than any of the tags that are looked for.
_TAG = 4096
_HIDDEN_ROW = re.compile(rb'<row\b[^<>]*\bhidden="(?:1|true)"[^<>]*>')
_NUMBER = re.compile(rb'\sr="([0-9]{1,7})"')
_HIDDEN_COLUMNS = re.compile(rb'<col\b[^<>]*\bhidden="(?:1|true)"[^<>]*>')
_SPAN = re.compile(rb'\b(min|max)="([0-9]{1,5})"')
# Behind what is in use all other columns may be hidden at once, which is no news.
_MOST_COLUMNS = 1000
_ROW = re.compile(rb'<row\b[^<>]*?\sr="([0-9]{1,7})"')
# The same however it is written.
_ANY_ROW = re.compile(rb"""<(?:[\w.-]+:)?row\b[^<>]*?\sr=["']([0-9]{1,7})["']""")
_CONTENT = (b"<v", b"<is", b"<f")
# In which marks could stand that mean nothing.
_UNUSUAL = (b"<!--", b"<![CDATA[", b"<!DOCTYPE")
_BEGIN, _END = b"<sheetData", b"</sheetData"


@dataclass(frozen=True, slots=True)
class Hidden:
    """First and last of rows, and of columns, that are hidden; all counted from 1."""

    rows: tuple[tuple[int, int], ...] = ()
    columns: tuple[tuple[int, int], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.rows or self.columns)

    def __str__(self) -> str:
        counts = [sum(last - first + 1 for first, last in s) for s in (self.rows, self.columns)]
        found = zip(("row", "column"), counts, strict=True)
        return " and ".join(f"{n} hidden {one}{'' if n == 1 else 's'}" for one, n in found if n)


@dataclass(frozen=True, slots=True)
class Seen:
    """``last_row`` is the last that holds anything (0: none does); None: that cannot be told.

    ``out_of_order``: the first row that stands below its place, or again, and the one it is below.
    """

    formulas: bool
    hidden: Hidden
    last_row: int | None
    out_of_order: tuple[int, int] | None = None


@dataclass(slots=True)
class _Look:
    """A look at the text of a sheet, part by part."""

    formulas: bool = False
    rows: list[tuple[int, int]] = field(default_factory=list)
    columns: list[tuple[int, int]] = field(default_factory=list)
    begun: bool = False
    sure: bool = True
    row: int = 0
    last: int = 0
    above: int = 0
    out_of_order: tuple[int, int] | None = None

    def at(self, text: bytes) -> None:
        """Take whole tags."""
        self.begun = self.begun or _BEGIN in text
        for tag in _HIDDEN_ROW.findall(text):
            self._hide(tag)
        self.columns += filter(None, map(_columns, _HIDDEN_COLUMNS.findall(text)))
        self.formulas = self.formulas or b"<f" in text
        rows = [(found.start(), int(found[1])) for found in _ROW.finditer(text)]
        marked = any(mark in text for mark in _UNUSUAL)
        usual = len(rows) == text.count(b"<row") and not marked
        self.sure = self.sure and usual
        if not marked:
            self._order([one for _, one in rows] if usual and rows else _numbers(text))
        content = max(map(text.rfind, _CONTENT))
        if content >= 0:
            before = (number for start, number in rows if start < content)
            self.last = max((self.last, self.row, *before))
        self.row = max((self.row, *(number for _, number in rows)))

    def _order(self, numbers: list[int]) -> None:
        if self.out_of_order is None:
            pairs = pairwise((self.above, *numbers))
            self.out_of_order = next(((n, above) for above, n in pairs if n <= above), None)
            self.above = max((self.above, *numbers))

    def _hide(self, tag: bytes) -> None:
        found = _NUMBER.search(tag)
        number = int(found[1]) if found else 0
        if self.rows and number == self.rows[-1][1] + 1:
            self.rows[-1] = (self.rows[-1][0], number)
        elif number:
            self.rows.append((number, number))

    @property
    def seen(self) -> Seen:
        """What came of it."""
        last = self.last if self.sure and self.begun else None
        hidden = Hidden(tuple(self.rows), tuple(self.columns))
        return Seen(self.formulas, hidden, last, self.out_of_order)


def look_through(archive: zipfile.ZipFile, name: str) -> Seen:
    """Look once through the XML of a sheet, up to where its rows end."""
    look = _Look()
    held = b""
    with archive.open(name) as part:
        while data := part.read(_STEP):
            text = held + data
            closed = text.find(_END)
            if closed >= 0:
                look.at(text[:closed])
                return look.seen
            # A tag that is not closed yet is looked at with what follows.
            end = text.rfind(b"<")
            if end < 0 or len(text) - end > _TAG:
                end = len(text)
            look.at(text[:end])
            held = text[end:]
    look.at(held)
    return look.seen


def _numbers(text: bytes) -> list[int]:
    return [int(number) for number in _ANY_ROW.findall(text)]


def _columns(tag: bytes) -> tuple[int, int] | None:
    span = dict(_SPAN.findall(tag))
    first, last = int(span.get(b"min", 0)), int(span.get(b"max", 0))
    return (first, last) if 0 < first <= last < first + _MOST_COLUMNS else None
