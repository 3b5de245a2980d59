"""Rows of a table whose checks differ in little more than their readings.

By the cells on which all but the readings rests, what rows have in common is settled once; of a row
like that only the readings are read. Every other row goes the long way, through its request.
"""

from collections.abc import Callable, Iterator
from operator import itemgetter
from typing import Any, Final

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.added import harmless_all
from weighworthy_service.tables.asked import Asked
from weighworthy_service.tables.cells import AnyRow, CellFault, Row
from weighworthy_service.tables.gather import item_of
from weighworthy_service.tables.mapping_flaws import stated_at
from weighworthy_service.tables.quick import Odd, Settled, Settling
from weighworthy_service.tables.roles import READINGS, Roles
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.writing import Writing

# The longest combination of cells that is kept: a bound on the memory that they take.
_LONGEST: Final = 4096
_DATE: Final = len("2026-03-17")


def quick_rows(run: Run, made: Writing, roles: Roles) -> Iterator[list[str]]:
    """The rows of the answer, in the order of the table."""
    single = run.plan.single
    assert single is not None  # noqa: S101  otherwise columns have no such roles
    slug, columns = single.kind.slug, made.columns
    long_way = _long_way(run, made)
    is_csv = run.table.read_as["delimiter"] is not None and not made.added_only
    initial_of, final_of, displayed_of = (reader or _nothing for reader in roles.readings)
    moment_of, idle = roles.moment, roles.idle
    others = itemgetter(*roles.others) if roles.others else _nothing
    settling = Settling(run.at_hand)
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
            moment = moment_of(cells) if moment_of is not None else None
            day = moment and moment[:_DATE]
            key = others(cells)
            settled = settling.known(key, day) or _learned(run, row, settling, key, day)
            for place, is_right in idle:
                if not is_right(cells[place]):
                    raise Odd
            brief = settled.prepared.brief(initial_of(cells), final_of(cells), displayed_of(cells))
            if brief is None:
                raise Odd
        except (CellFault, Odd):
            yield long_way(row)
            continue
        added = columns.judged(brief, slug, None, settled.named)
        yield harmless_all(cells) + added if is_csv else made.whole(row, added)
    yield from made.header_before(None)


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
