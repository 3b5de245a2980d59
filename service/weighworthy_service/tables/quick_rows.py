"""Rows of a table whose checks differ in little more than their readings.

By the cells on which all but the readings rests, what rows have in common is settled once; of a row
like that only the readings are read. Every other row goes the long way, through its request.
"""

from collections.abc import Callable, Iterator
from operator import itemgetter
from typing import Any, Final

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.asked import Asked
from weighworthy_service.tables.cells import AnyRow, Cell, CellFault, Row
from weighworthy_service.tables.gather import item_of
from weighworthy_service.tables.quick import Judge
from weighworthy_service.tables.roles import Roles
from weighworthy_service.tables.run import Run
from weighworthy_service.tables.settling import Odd, Settled, Settling, day_of
from weighworthy_service.tables.tally import Came
from weighworthy_service.tables.writing import Writing, shown_of

# The longest combination of cells that is kept: a bound on the memory that they take.
_LONGEST: Final = 4096
# Endings of rows that are kept.
_KEPT: Final = 20_000
# What a cell of another kind counts as, of which the texts are short.
_SHORT: Final = 40


def quick_rows(run: Run, made: Writing, roles: Roles) -> Iterator[str]:
    """The lines of the answer, in the order of the table."""
    single = run.plan.single
    assert single is not None  # noqa: S101  otherwise columns have no such roles
    slug = single.kind.slug
    long_way = _long_way(run, made)
    readers = [reader or _nothing for reader in roles.readings]
    moment_of, reduced, idle = roles.moment or _nothing, roles.reduced, roles.idle
    others = itemgetter(*roles.others) if roles.others else _nothing
    # Of one column alone, a getter would give no tuple.
    places = roles.reading_places
    readings: Callable[[Any], Any] = itemgetter(*places, places[0]) if places else _nothing
    settling = Settling(run.at_hand, _KEPT)
    judged = made.tally.judged
    is_text = bool(run.table.read_as["delimiter"])
    joined = made.joined if is_text else made.joined_typed
    is_short: Callable[[Any], bool] = _are_short if is_text else _is_short
    for row in run.table.rows():
        if made.header_waits:
            yield from made.header_before(row)
        if row.__class__ is not tuple:
            yield long_way(row)
            continue
        cells = row[2]
        try:
            day = day_of(moment_of(cells))
            key = others(cells)
            if reduced:
                key = (key, *[decided(cells) for decided in reduced])
            settled = settling.known(key, day) or _learned(run, row, settling, key, day)
            for place, is_right in idle:
                if not is_right(cells[place]):
                    raise Odd
            read = readings(cells)
            found = settled.made.get(read)
            if found is None:
                brief = settled.prepared.brief(*[reader(cells) for reader in readers])
                if brief is None:
                    raise Odd
                came = Came(slug, brief.ruling.verdict, settled.profile.digest)
                found = made.tail(brief, slug, settled.profile), came
                if is_short(read):
                    settling.keep(settled, read, found)
        except (CellFault, Odd):
            yield long_way(row)
            continue
        tail, came = found
        judged[came] += 1
        yield made.joined_place(row, tail) if made.added_only else joined(cells, tail)
    yield from made.header_before(None)


def _long_way(run: Run, made: Writing) -> Callable[[AnyRow], str]:
    judge = run.judging(Judge(run.at_hand, shown_of))

    def written(row: AnyRow) -> str:
        ((item, outcome),) = judge(item_of(run.plan, row))
        return made.whole(row, made.added(item, outcome))

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


def _is_short(cells: tuple[Cell, ...]) -> bool:
    """Whether cells are no longer than those of readings mostly are: blanks may be around them."""
    return sum(len(cell) if isinstance(cell, str) else _SHORT for cell in cells) <= _LONGEST


def _are_short(cells: tuple[str, ...]) -> bool:
    """The same of cells that are all texts."""
    return sum(map(len, cells)) <= _LONGEST


def _nothing(_cells: Any) -> None:
    """What a reading is that no column holds."""
