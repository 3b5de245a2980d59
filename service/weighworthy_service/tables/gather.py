"""Rows into checks: each row its own, or several that belong together by what columns say.

A check must never be judged from a part of its rows. So a gathered one is judged only if

- it has as many rows as the mapping says that every check has (`complete`), and no more of its key
  within the window, or
- without that number, no other row of the same key lies farther from its first row than `within`,
  and no row that could not be placed stands where it may belong to it;

rows of the same key count as another check's where times tell that they are.

Items come in the order of their first rows. Held are the rows from the first of an open check on:
`within` of them, and no more than `MOST_HELD` characters.
"""

import heapq
from collections.abc import Iterable, Iterator
from math import isnan
from typing import Final

from weighworthy_service.tables.asked import Asked, Item, invalid, unreadable
from weighworthy_service.tables.cells import AnyRow, BadRow, Row, SkippedRow
from weighworthy_service.tables.mapping import Gather
from weighworthy_service.tables.nearness import Nearness, Stretch
from weighworthy_service.tables.open_checks import OpenChecks
from weighworthy_service.tables.placing import Key, Placed, Unplaced, place, seconds, torn_keys
from weighworthy_service.tables.plan import Plan, ReadRow
from weighworthy_service.tables.sample import size_of
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.together import Group, closed, group_of, labels_of, member

# Characters of the rows that are held; of rows of 1,600 as many as the widest window takes.
MOST_HELD: Final = 32 * 1024 * 1024
# Rows that a sentence names.
_TOLD: Final = 12


def items_of(table: Table, plan: Plan) -> Iterator[Item]:
    """What the rows of a table ask for: every row in exactly one item.

    Where checks are gathered and the mapping does not say how many rows each has, the keys of the
    whole table are looked through first (some 100 bytes of memory for each check).
    """
    gather = plan.mapping.gather
    if gather is None:
        return (item_of(plan, row) for row in table.rows())
    torn = frozenset[int]() if gather.complete else torn_keys(table.rows(), plan)
    return _Gathering(plan, gather, torn).items(table.rows())


def item_of(plan: Plan, row: AnyRow) -> Item:
    """What one row asks for, where each row is a check of its own."""
    if isinstance(row, SkippedRow):
        return row
    if isinstance(row, BadRow):
        return unreadable(row)
    try:
        placed = place(plan, row)
    except Unplaced as error:
        return invalid(row, (error.error,))
    return _alone(placed, row)


def _alone(placed: Placed | None, row: Row) -> Item:
    if placed is None:
        return SkippedRow(row[0], row[1], "no-check", row[2])
    read = placed.plan.read(row)
    if read.errors:
        return invalid(row, read.errors, labels=labels_of(read), check=placed.plan.kind.slug)
    return Asked(read.plan, (row,), read.document, None)


class _Gathering:
    """One pass over the rows of a table."""

    def __init__(self, plan: Plan, gather: Gather, torn: frozenset[int]) -> None:
        self._plan, self._gather, self._torn = plan, gather, torn
        self._open = OpenChecks(gather.complete)
        self._ready: list[tuple[int, int, Item]] = []
        self._made = 0
        # Checks that were closed before all their rows had come: what follows may be the rest.
        self._cut, self._cut_keys, self._cut_timeless = Nearness[Stretch](), set[Key](), set[Key]()
        # The check of the last row that was placed, and whether one after it was not.
        self._last: Group | None = None
        self._unplaced = False
        # The last row that could not be placed: its turn, and what is said of it.
        self._lost: tuple[int, str] = (-1, "")
        # Characters read so far, and how many before the first row of each open check.
        self._size = 0
        self._before: dict[int, int] = {}

    def items(self, rows: Iterable[AnyRow]) -> Iterator[Item]:
        for turn, row in enumerate(rows):
            self._make_room()
            if isinstance(row, SkippedRow):
                self._add(turn, row)
            else:
                self._take(turn, row)
            self._size += size_of(row)
            yield from self._due(turn)
        for group in list(self._open):
            self._close(group, at_end=True)
        yield from self._due(None)

    def _make_room(self) -> None:
        """Give up the oldest checks where too much is held, whether all their rows came or not."""
        while oldest := self._open.oldest:
            if self._size - self._before[oldest.turn] <= MOST_HELD:
                return
            oldest.refused = (
                f"from row {oldest.first} on, where the check {oldest.name!r} begins, more than "
                f"{MOST_HELD} characters are held: leave out columns that nobody needs, or sort "
                "the table so that the rows of a check stand together"
            )
            self._close(oldest)

    def _take(self, turn: int, row: Row | BadRow) -> None:
        number = row.number if isinstance(row, BadRow) else row[1]
        while (oldest := self._open.oldest) and number > oldest.first + self._gather.within:
            self._close(oldest)
        if isinstance(row, BadRow):
            self._add(turn, unreadable(row))
            self._pass(turn, number)
            return
        try:
            placed = place(self._plan, row)
        except Unplaced as error:
            self._add(turn, invalid(row, (error.error,)))
            self._pass(turn, number)
            return
        if placed is None or placed.key is None:
            self._add(turn, _alone(placed, row))
        else:
            self._gather_row(turn, placed.key, placed.plan.read(row))

    def _gather_row(self, turn: int, key: Key, read: ReadRow) -> None:
        time = seconds(read.plan, read.values)
        group = self._open.of(key, time)
        if group is None:
            group = group_of(key, turn, read)
            group.refused = self._refusal(key, time)
            self._open.begin(group)
            self._before[turn] = self._size
        elif self._lost[0] > group.members[-1].turn:
            group.doubt = group.doubt or self._lost[1]
        if self._unplaced:
            group.doubt = group.doubt or self._lost[1]
        self._last, self._unplaced = group, False
        group.add(member(turn, read, self._plan.order), time)
        self._open.added(group, time)

    def _refusal(self, key: Key, time: float) -> str | None:
        """Why a check that begins must not be judged, whatever follows."""
        cut = hash(key) in self._torn or key in self._cut_timeless
        if not cut and key in self._cut_keys:
            cut = isnan(time) or bool(self._cut.near(key, time))
        if not cut:
            return None
        return (
            f"rows of the check {' / '.join(key[1:])[:200]!r} lie more than {self._gather.within} "
            "rows apart: widen `within`, or state in `by` what tells two checks apart"
        )

    def _pass(self, turn: int, number: int) -> None:
        """A row that may belong to any check around it."""
        said = f"row {number} cannot be read and may belong to the same check"
        self._lost, self._unplaced = (turn, said), True
        if self._last is not None:
            self._last.doubt = self._last.doubt or said

    def _close(self, group: Group, *, at_end: bool = False) -> None:
        self._open.close(group)
        del self._before[group.turn]
        if self._last is group:
            self._last = None
        refused, complete, found = group.refused, self._gather.complete, len(group.members)
        if complete is None:
            refused = refused or group.doubt
        elif found > complete:
            refused = refused or _too_many(group, complete)
        elif found < complete:
            within = f"within {self._gather.within} rows from row {group.first}"
            said = f"the check {group.name!r} has {found} of {complete} rows {within}"
            refused = refused or group.doubt or said
        # Rows that could not be placed are none of a check that has all its own.
        if refused is not None and not at_end:
            self._cut_off(group.key, group.times)
        for turn, item in closed(group, self._plan.order, refused):
            self._add(turn, item)

    def _cut_off(self, key: Key, times: Stretch) -> None:
        self._cut_keys.add(key)
        if isnan(times.lo):
            self._cut_timeless.add(key)
            return
        for other in (*self._cut.near(key, times.lo), *self._cut.near(key, times.hi)):
            times.widen(other.lo, other.hi)
        self._cut.put_over(key, times)

    def _add(self, turn: int, item: Item) -> None:
        self._made += 1
        heapq.heappush(self._ready, (turn, self._made, item))

    def _due(self, turn: int | None) -> Iterator[Item]:
        """Items before which nothing can come any more."""
        first = self._open.oldest
        while self._ready and (first is None or self._ready[0][0] < first.turn):
            yield heapq.heappop(self._ready)[2]


def _too_many(group: Group, complete: int) -> str:
    rows = ", ".join(str(one.read.row[1]) for one in group.members[:_TOLD])
    more = f" and {len(group.members) - _TOLD} more" if len(group.members) > _TOLD else ""
    return (
        f"the rows {rows}{more} all are of the check {group.name!r}, which has {complete}: nothing "
        "tells which belong together; state in `by` what tells two checks apart"
    )
