"""Rows into checks: each row its own, or several that belong together by what columns say.

A check must never be judged from a part of its rows. So a gathered one is judged only if

- it has as many rows as the mapping says that every check has (`complete`), or
- without that number, no other row of the same key lies farther from its first row than `within`,
  unless times tell that it was another run, and no row that could not be placed stands where it
  may belong to it.

Items come in the order of their first rows. Held are the rows of open checks: `within` of them.
"""

import heapq
from collections.abc import Iterable, Iterator

from weighworthy_service.tables.asked import Asked, Item, invalid, unreadable
from weighworthy_service.tables.cells import AnyRow, BadRow, Row, SkippedRow
from weighworthy_service.tables.mapping import Gather
from weighworthy_service.tables.placing import (
    Key,
    Placed,
    Unplaced,
    far_apart,
    place,
    seconds,
    torn_keys,
)
from weighworthy_service.tables.plan import Plan, ReadRow
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.together import Group, closed, group_of, labels_of, member


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
        self._open: dict[Key, Group] = {}
        self._ready: list[tuple[int, int, Item]] = []
        self._made = 0
        # Times of checks that the window cut: what follows under their keys may be the rest.
        self._cut: dict[Key, float] = {}
        # The check of the last row that was placed, and whether one after it was not.
        self._last: Group | None = None
        self._unplaced = False
        # The last row that could not be placed: its turn, and what is said of it.
        self._lost: tuple[int, str] = (-1, "")

    def items(self, rows: Iterable[AnyRow]) -> Iterator[Item]:
        for turn, row in enumerate(rows):
            if isinstance(row, SkippedRow):
                self._add(turn, row)
            else:
                self._take(turn, row)
            yield from self._due(turn)
        for group in list(self._open.values()):
            self._close(group, at_end=True)
        yield from self._due(None)

    def _take(self, turn: int, row: Row | BadRow) -> None:
        number = row.number if isinstance(row, BadRow) else row[1]
        while self._open:
            oldest = next(iter(self._open.values()))  # they are in the order of their first rows
            if number <= oldest.first + self._gather.within:
                break
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
        group, doubt = self._open.get(key), None
        if group is not None and far_apart(time, group.time):
            if group.untimed:
                doubt = (
                    f"rows of the check {group.name!r} without a time stand between two days: "
                    "state in `by` what tells two checks apart"
                )
                group.doubt = group.doubt or doubt
            self._close(group)
            group = None
        if group is None:
            group = group_of(key, turn, read)
            group.doubt = doubt or self._doubt(group)
            self._open[key] = group
        elif self._lost[0] > group.members[-1].turn:
            group.doubt = group.doubt or self._lost[1]
        if self._unplaced:
            group.doubt = group.doubt or self._lost[1]
        self._last, self._unplaced = group, False
        group.add(member(turn, read, self._plan.order), time)
        if len(group.members) == self._gather.complete and key not in self._cut:
            self._close(group)

    def _doubt(self, group: Group) -> str | None:
        """Why a check that begins must not be judged, whatever follows."""
        key = group.key
        if key in self._cut and far_apart(group.time, self._cut[key]):
            del self._cut[key]
        if key in self._cut or hash(key) in self._torn:
            return (
                f"rows of the check {group.name!r} lie more than {self._gather.within} "
                "rows apart: widen `within`, or state in `by` what tells two checks apart"
            )
        return None

    def _pass(self, turn: int, number: int) -> None:
        """A row that may belong to any check around it."""
        said = f"row {number} cannot be read and may belong to the same check"
        self._lost, self._unplaced = (turn, said), True
        if self._last is not None:
            self._last.doubt = self._last.doubt or said

    def _close(self, group: Group, *, at_end: bool = False) -> None:
        del self._open[group.key]
        if self._last is group:
            self._last = None
        doubt, complete, found = group.doubt, self._gather.complete, len(group.members)
        if complete is not None and found == complete and group.key not in self._cut:
            # Rows that could not be placed are none of this check, which has all its own.
            doubt = None
        elif complete is not None:
            within = f"within {self._gather.within} rows from row {group.first}"
            doubt = doubt or f"the check {group.name!r} has {found} of {complete} rows {within}"
            if not at_end:
                self._cut[group.key] = group.time
        for turn, item in closed(group, self._plan.order, doubt):
            self._add(turn, item)

    def _add(self, turn: int, item: Item) -> None:
        self._made += 1
        heapq.heappush(self._ready, (turn, self._made, item))

    def _due(self, turn: int | None) -> Iterator[Item]:
        """Items before which nothing can come any more."""
        first = next(iter(self._open.values()), None)
        while self._ready and (first is None or self._ready[0][0] < first.turn):
            yield heapq.heappop(self._ready)[2]
