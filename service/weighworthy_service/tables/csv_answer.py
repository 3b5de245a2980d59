"""The table as it came, each row with what became of it, as CSV."""

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from types import SimpleNamespace
from typing import Final

from weighworthy_service.checks.answer import brief_of
from weighworthy_service.tables.added import ADDED, PLACE, SKIPPED, Columns
from weighworthy_service.tables.asked import Faulty, Item
from weighworthy_service.tables.cells import AnyRow, BadRow, SkippedRow
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.outcome import Answered, Refused, RowOutcome
from weighworthy_service.tables.run import Run, number_of, sheet_of

# Rows that are joined before they are sent: some tens of kilobytes.
_JOINED: Final = 200
_BOM: Final = "\ufeff"


class RowsLostError(RuntimeError):
    """Fewer or more rows were written than read: the answer must not look whole."""


@dataclass(frozen=True, slots=True)
class Layout:
    """How an answer is written. `added_only`: the row's place and the added columns."""

    delimiter: str
    decimal: str
    marked: bool
    added_only: bool = False


def csv_pieces(rows: Iterable[list[str]], layout: Layout) -> Iterator[bytes]:
    """The text of the rows, in pieces."""
    parts: list[str] = [_BOM] if layout.marked else []
    writer = csv.writer(
        SimpleNamespace(write=parts.append), delimiter=layout.delimiter, lineterminator="\r\n"
    )
    for row in rows:
        writer.writerow(row)
        if len(parts) >= _JOINED:
            yield "".join(parts).encode()
            parts.clear()
    yield "".join(parts).encode()


def answer_rows(run: Run, layout: Layout) -> Iterator[list[str]]:
    """Header and rows in the order of the table. Raises: RowsLostError."""
    made = Writing(run, layout)
    written = 0
    for row in in_order(_item_rows(run, made)):
        yield from made.header_before(row)
        written += 1
        yield made.whole(*row)
    yield from made.header_before(None)
    if written != run.table.count:
        raise RowsLostError(f"{written} of {run.table.count} rows were written")


# A row of the table, and the cells that are added to it.
Written = tuple[AnyRow, list[str]]


class Writing:
    """Makes rows of an answer from rows of a table."""

    def __init__(self, run: Run, layout: Layout) -> None:
        self.columns = Columns(layout.decimal)
        self._added_only = layout.added_only
        self._header = run.table.header
        # None: the header row has been written, or comes before all.
        self._header_row: int | None = run.table.read_as["header_row"]
        self._sheet = run.table.read_as["sheet"]

    def header_before(self, row: Written | None) -> Iterator[list[str]]:
        """The header, once its place has come; at the beginning of a table that has none."""
        if self._header_row is None:
            return
        if row is not None and self._is_above(row[0], self._header_row):
            return
        self._header_row = None
        if self._added_only:
            yield [*PLACE, *ADDED]
        else:
            yield [*map(self.columns.cell, self._header), *ADDED]

    def _is_above(self, row: AnyRow, header_row: int) -> bool:
        if self._added_only:
            return False
        return sheet_of(row) != self._sheet or number_of(row) < header_row

    def whole(self, row: AnyRow, added: list[str]) -> list[str]:
        """The row as it came, and what is added to it."""
        if self._added_only:
            return [sheet_of(row) or "", str(number_of(row)), *added]
        if isinstance(row, BadRow):
            cells = [self.columns.cell(row.text)]
        else:
            came = row.cells if isinstance(row, SkippedRow) else row[2]
            cells = list(map(self.columns.cell, came))
        if len(cells) < len(self._header):
            cells += [""] * (len(self._header) - len(cells))
        return cells + added

    def added(self, item: Item, outcome: RowOutcome) -> list[str]:
        """The cells that are added to each row of an item."""
        if isinstance(outcome, Answered):
            brief = brief_of(outcome.judged.evaluation)
            group = None if isinstance(item, SkippedRow) else item.group
            return self.columns.judged(brief, outcome.kind, group, outcome.judged.profile)
        if isinstance(outcome, Refused) and not isinstance(item, SkippedRow):
            check = item.check if isinstance(item, Faulty) else item.plan.kind.slug
            return self.columns.error(check, item.group, outcome)
        return SKIPPED


def _item_rows(run: Run, made: Writing) -> Iterator[list[Written]]:
    judge = run.judging()
    for item in items_of(run.table, run.plan):
        added = made.added(item, judge(item))
        rows = (item,) if isinstance(item, SkippedRow) else item.rows
        yield [(row, added) for row in rows]


def in_order(items: Iterable[list[Written]]) -> Iterator[Written]:
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
            row = written[0]
            made += 1  # so that two are never compared any further
            heappush(waiting, (of, number_of(row), made, written))
    while waiting:
        yield heappop(waiting)[3]
