"""Rows of a table whose checks differ in little more than their readings.

By the cells on which all but the readings rests, what rows have in common is settled once; of a row
like that only the readings are read. Every other row goes the long way, through its request.
"""

from collections.abc import Callable, Iterator
from operator import itemgetter
from typing import Any, Final

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.asked import Asked
from weighworthy_service.tables.cells import AnyRow, CellFault, Row
from weighworthy_service.tables.gather import item_of
from weighworthy_service.tables.mapping_flaws import stated_at
from weighworthy_service.tables.quick import Odd, Settled, Settling
from weighworthy_service.tables.roles import READINGS, Roles
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.writing import Line, Tail, Writing

# The longest combination of cells that is kept: a bound on the memory that they take.
_LONGEST: Final = 4096
# Endings of rows that are kept.
_KEPT: Final = 50_000
_DATE: Final = len("2026-03-17")


def quick_rows(run: Run, made: Writing, roles: Roles) -> Iterator[Line]:
    """The rows of the answer, in the order of the table."""
    single = run.plan.single
    assert single is not None  # noqa: S101  otherwise columns have no such roles
    slug, columns = single.kind.slug, made.columns
    long_way = _long_way(run, made)
    joined = made.joined if run.table.read_as["delimiter"] and not made.added_only else None
    initial_of, final_of, displayed_of = (reader or _nothing for reader in roles.readings)
    moment_of, idle = roles.moment or _nothing, roles.idle
    others = itemgetter(*roles.others) if roles.others else _nothing
    readings = itemgetter(*roles.reading_places)
    settling = Settling(run.at_hand)
    tails = Tails()
    # A reading that the mapping itself states stands in for an empty cell.
    usual = all(stated_at(single.constants, path) is None for path in READINGS)
    for row in run.table.rows():
        if made.header_waits:
            yield from made.header_before(row)
        if row.__class__ is not tuple or not usual:
            yield long_way(row)
            continue
        cells = row[2]
        try:
            moment = moment_of(cells)
            day = moment and moment[:_DATE]
            key = others(cells)
            settled = settling.known(key, day) or _learned(run, row, settling, key, day)
            for place, is_right in idle:
                if not is_right(cells[place]):
                    raise Odd
            known, read = tails.of(settled), readings(cells)
            tail = known.get(read)
            if tail is None:
                brief = settled.prepared.brief(
                    initial_of(cells), final_of(cells), displayed_of(cells)
                )
                if brief is None:
                    raise Odd
                tail = made.tail(columns.judged(brief, slug, None, settled.named))
                tails.keep(known, read, tail)
        except (CellFault, Odd):
            yield long_way(row)
            continue
        yield made.whole(row, tail.cells) if joined is None else joined(cells, tail)
    yield from made.header_before(None)


class Tails:
    """What was added to rows before, by what they have in common and the cells of their readings.

    Readings of the same weights repeat: they differ by a few steps of the display.
    """

    def __init__(self) -> None:
        self._by_settled: dict[int, tuple[Settled, dict[Any, Tail]]] = {}
        self._number = 0

    def of(self, settled: Settled) -> dict[Any, Tail]:
        """Those of one set of circumstances."""
        kept = self._by_settled.get(id(settled))
        if kept is None:
            # What is settled is kept too, so that no other object can get its identity.
            kept = self._by_settled[id(settled)] = (settled, {})
        return kept[1]

    def keep(self, known: dict[Any, Tail], read: Any, tail: Tail) -> None:
        """Keep one more, or begin anew where there are too many."""
        self._number += 1
        if self._number > _KEPT:
            self._by_settled.clear()
            self._number = 0
        elif len(str(read)) <= _LONGEST:
            known[read] = tail


def _long_way(run: Run, made: Writing) -> Callable[[AnyRow], list[str]]:
    judge = run.judging()

    def written(row: AnyRow) -> list[str]:
        item = item_of(run.plan, row)
        return made.whole(row, made.added(item, judge(item)))

    return written


def _learned(run: Run, row: Row, settling: Settling, key: Any, day: str | None) -> Settled:
    """What rows of this key and period have in common, from the first of them that is right."""
    item = item_of(run.plan, row)
    if not isinstance(item, Asked) or len(str(key)) > _LONGEST:
        raise Odd
    try:
        return settling.settle(item.plan.kind, run.document(item), key, day)
    except Refusal:
        raise Odd from None


def _nothing(_cells: Any) -> None:
    """What a reading is that no column holds."""
