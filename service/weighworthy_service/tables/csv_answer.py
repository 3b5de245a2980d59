"""The table as it came, each row with what became of it, as CSV."""

from collections.abc import Iterable, Iterator
from heapq import heappop, heappush
from typing import Final

from weighworthy_service.tables.cells import SkippedRow
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.quick import Judge
from weighworthy_service.tables.quick_rows import quick_rows
from weighworthy_service.tables.roles import roles_of
from weighworthy_service.tables.run import Run, number_of, sheet_of
from weighworthy_service.tables.tally import Tally
from weighworthy_service.tables.writing import Layout, Writing, Written, shown_of

# Rows that are joined before they are sent: some tens of kilobytes.
_JOINED: Final = 200
_BOM: Final = "\ufeff"


class RowsLostError(RuntimeError):
    """Fewer or more rows were written than read: the answer must not look whole."""


def csv_answer(run: Run, layout: Layout, tally: Tally | None = None) -> Iterator[bytes]:
    """The text of the answer, in pieces; `tally` counts on the way. Raises: RowsLostError."""
    parts: list[str] = [_BOM] if layout.marked else []
    written = -1  # the header is no row
    for line in answer_rows(run, layout, tally):
        parts.append(line)
        written += 1
        if len(parts) >= _JOINED:
            yield "".join(parts).encode()
            parts.clear()
    if written != run.table.count:
        raise RowsLostError(f"{written} of {run.table.count} rows were written")
    yield "".join(parts).encode()


def answer_rows(run: Run, layout: Layout, tally: Tally | None = None) -> Iterator[str]:
    """Header and rows in the order of the table, each as it is written."""
    made = Writing(run, layout, tally)
    roles = roles_of(run.plan, run.table.marks)
    return slow_rows(run, made) if roles is None else quick_rows(run, made, roles)


def slow_rows(run: Run, made: Writing) -> Iterator[str]:
    """Every row by way of the request that it makes, alone or with others."""
    for row, added in _in_order(_judged(run, made)):
        yield from made.header_before(row)
        yield made.whole(row, added)
    yield from made.header_before(None)


def _judged(run: Run, made: Writing) -> Iterator[list[Written]]:
    judge = run.judging(Judge(run.at_hand, shown_of))
    for item in items_of(run.table, run.plan):
        # Together, for what is not yet in order is held from the first row of an item.
        written: list[Written] = []
        for part, outcome in judge(item):
            added = made.added(part, outcome)
            rows = (part,) if isinstance(part, SkippedRow) else part.rows
            written += [(row, added) for row in rows]
        yield written


def _in_order(items: Iterable[list[Written]]) -> Iterator[Written]:
    """The rows of items in the order of the table; items come in that of their first rows.

    Held are rows behind the first row of the latest item, as many as gathering holds.
    """
    sheets: dict[str | None, int] = {}
    waiting: list[tuple[int, int, int, Written]] = []
    made = 0
    for rows in items:
        of = sheets.setdefault(sheet_of(rows[0][0]), len(sheets))
        first = (of, min(number_of(row) for row, _ in rows))
        while waiting and waiting[0][:2] < first:
            yield heappop(waiting)[3]
        for written in rows:
            made += 1  # so that two are never compared any further
            heappush(waiting, (of, number_of(written[0]), made, written))
    while waiting:
        yield heappop(waiting)[3]
