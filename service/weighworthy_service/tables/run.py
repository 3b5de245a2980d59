"""The rows of a table, judged: what they ask for, by what it is judged, and what comes of it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.asked import Asked, Faulty, Item, refused_rows
from weighworthy_service.tables.cells import AnyRow, SkippedRow
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.outcome import (
    Answered,
    Counts,
    Refused,
    RowOutcome,
    Skipped,
)
from weighworthy_service.tables.plan import Plan
from weighworthy_service.tables.quick import Judge
from weighworthy_service.tables.table import Table

# An item, or the part of one that became something else than the rest, and what it became.
Became = tuple[Item, RowOutcome]


@dataclass(frozen=True, slots=True)
class Run:
    """A table to be judged. `profile` is for rows that name none; None: the built-in one."""

    table: Table
    plan: Plan
    at_hand: AtHand
    profile: str | dict[str, Any] | None = None

    def outcomes(self, counts: Counts, quick: Judge[Any]) -> Iterator[RowOutcome]:
        """What becomes of every row, in the order of each check's first row."""
        judge = self.judging(quick)
        for item in items_of(self.table, self.plan):
            counts.rows_in += 1 if isinstance(item, SkippedRow) else len(item.rows)
            for _, outcome in judge(item):
                yield outcome

    def judging(self, quick: Judge[Any]) -> Callable[[Item], list[Became]]:
        """What makes the outcome of an item, with a judge that makes what is shown of a check.

        A refused check falls apart into its bad rows and the others.
        """

        def judge(item: Item) -> list[Became]:
            if isinstance(item, SkippedRow):
                return [(item, Skipped(item.sheet, item.number))]
            if isinstance(item, Faulty):
                return [(item, _refused(item))]
            try:
                return [(item, self._judged(item, quick))]
            except Refusal as refusal:
                return [(faulty, _refused(faulty)) for faulty in refused_rows(item, refusal)]

        return judge

    def document(self, item: Asked) -> dict[str, Any]:
        """The request of an item, with the profile of the batch where it names none."""
        document = item.document
        if self.profile is not None and document.get("profile") is None:
            document["profile"] = self.profile
        return document

    def _judged(self, item: Asked, quick: Judge[Any]) -> Answered:
        kind, document = item.plan.kind, self.document(item)
        found = quick.judged(kind, document)
        return Answered(item.rows[0][0], tuple(row[1] for row in item.rows), kind.slug, found)


def _refused(item: Faulty) -> Refused:
    return Refused(
        sheet_of(item.rows[0]),
        tuple(number_of(row) for row in item.rows),
        item.slug,
        item.detail,
        item.errors,
        item.labels,
    )


def sheet_of(row: AnyRow) -> str | None:
    """The sheet of a row, None in a CSV file."""
    return row[0] if isinstance(row, tuple) else row.sheet


def number_of(row: AnyRow) -> int:
    """The number of a row, from 1."""
    return row[1] if isinstance(row, tuple) else row.number
