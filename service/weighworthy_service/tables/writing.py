"""Rows of an answer, made from the rows of a table and what became of them."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.answer import brief_of
from weighworthy_service.checks.outcome import Brief, Evaluation, Ruling
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.tables.added import (
    ADDED,
    MARGIN,
    PLACE,
    SKIPPED,
    VALUE,
    Columns,
    Named,
    harmless,
    may_be_formula,
    named,
)
from weighworthy_service.tables.asked import Faulty, Item
from weighworthy_service.tables.cells import AnyRow, BadRow, Cell, Row, SkippedRow, shown
from weighworthy_service.tables.outcome import Answered, Refused, RowOutcome
from weighworthy_service.tables.run import Run, number_of, sheet_of
from weighworthy_service.tables.tally import Came, Tally

# How lines of a CSV file end (RFC 4180).
END: Final = "\r\n"


@dataclass(frozen=True, slots=True)
class Layout:
    """How an answer is written. `added_only`: the row's place and the added columns."""

    delimiter: str
    decimal: str
    marked: bool
    added_only: bool = False


# Rulings of which texts are kept.
_KEPT: Final = 4096
# The text before the value of an added criterion, between it and the margin, and behind that.
Around = tuple[str, str, str]
# A row of the table, and the cells that are added to it.
Written = tuple[AnyRow, list[str]]


class Shown(NamedTuple):
    """What the added cells show of a check."""

    brief: Brief
    profile: Named


def shown_of(evaluation: Evaluation, profile: ProfileIdentity) -> Shown:
    """What is shown of an outcome."""
    return Shown(brief_of(evaluation), named(profile))


class Writing:
    """Makes lines of an answer from rows of a table."""

    def __init__(self, run: Run, layout: Layout, tally: Tally | None = None) -> None:
        self.tally = Tally() if tally is None else tally
        self.columns = Columns(layout.decimal)
        self.added_only = layout.added_only
        self._delimiter = layout.delimiter
        self._quotes_numbers = layout.decimal == layout.delimiter
        # Of one kind of check, whose rows are ruled on alike again and again.
        self._around: dict[tuple[Ruling, str], Around] = {}
        self._lines: list[str] = []
        self._write = csv.writer(
            SimpleNamespace(write=self._lines.append),
            delimiter=layout.delimiter,
            lineterminator=END,
        ).writerow
        self._header = run.table.header
        # None: the header row has been written.
        self._header_row: int | None = run.table.read_as["header_row"]
        self._sheet = run.table.read_as["sheet"]

    @property
    def header_waits(self) -> bool:
        """Whether the header row has still to be written."""
        return self._header_row is not None

    def line(self, cells: list[str]) -> str:
        """A row of the answer as it is written."""
        self._write(cells)
        return self._lines.pop()

    def tail(self, brief: Brief, check: str, profile: ProfileIdentity) -> str:
        """The end of a line with the cells that are added to a judged row."""
        if self._quotes_numbers:
            cells = self.columns.judged(brief, check, named(profile))
            return self._delimiter + self.line(cells)
        around = self._around.get((brief.ruling, profile.digest))
        if around is None:
            around = self._learned(brief.ruling, check, profile)
        before, between, after = around
        number = self.columns.number
        return f"{before}{number(brief.value)}{between}{number(brief.margin)}{after}"

    def _learned(self, ruling: Ruling, check: str, profile: ProfileIdentity) -> Around:
        """What stands around value and margin, of the very cells that any row gets."""
        cells = self.columns.judged(Brief(ruling, None, None), check, named(profile))
        # None of what is added to a judged row holds a delimiter, but for names of groups.
        mark = self._delimiter
        before, between, after = cells[:VALUE], cells[VALUE + 1 : MARGIN], cells[MARGIN + 1 :]
        if len(self._around) >= _KEPT:
            self._around.clear()
        self._around[ruling, profile.digest] = found = (
            mark + "".join([cell + mark for cell in before]),
            mark + "".join([cell + mark for cell in between]),
            "".join([mark + cell for cell in after]) + END,
        )
        return found

    def joined(self, cells: list[Any], tail: str) -> str:
        """The line of a row of a CSV file: the same as that of its cells in one list, but quicker.

        Cells that need neither quotes nor a second look need no more than a delimiter between them.
        """
        text = "\n".join(cells)
        if (
            '"' in text
            or self._delimiter in text
            or "\r" in text
            or text.count("\n") >= len(cells)
            or may_be_formula(text)
        ):
            return self.line(list(map(harmless, cells))).removesuffix(END) + tail
        return text.replace("\n", self._delimiter) + tail

    def joined_place(self, row: Row, tail: str) -> str:
        """The line of a row of which only the place is shown."""
        return self.line([harmless(row[0] or ""), str(row[1])]).removesuffix(END) + tail

    def joined_typed(self, cells: list[Cell], tail: str) -> str:
        """The line of a row of typed cells."""
        return self.line(list(map(self.columns.cell, cells))).removesuffix(END) + tail

    def header_before(self, row: AnyRow | None) -> Iterator[str]:
        """The header, once its place has come; at the beginning of a table that has none."""
        if self._header_row is None:
            return
        if row is not None and self._is_above(row, self._header_row):
            return
        self._header_row = None
        before = PLACE if self.added_only else map(self.columns.cell, self._header)
        yield self.line([*before, *ADDED])

    def _is_above(self, row: AnyRow, header_row: int) -> bool:
        if self.added_only:
            return False
        return sheet_of(row) != self._sheet or number_of(row) < header_row

    def whole(self, row: AnyRow, added: list[str]) -> str:
        """The line of a row as it came, and what is added to it."""
        if self.added_only:
            return self.line([harmless(sheet_of(row) or ""), str(number_of(row)), *added])
        if isinstance(row, BadRow):
            cells = self._of_bad(row)
        else:
            came = row.cells if isinstance(row, SkippedRow) else row[2]
            cells = list(map(self.columns.cell, came))
        if len(cells) < len(self._header):
            cells += [""] * (len(self._header) - len(cells))
        return self.line(cells + added)

    def _of_bad(self, row: BadRow) -> list[str]:
        """A row in error in as many cells as the table has: the last holds those beyond it."""
        if row.cells is None:
            return [self.columns.cell(row.text)]
        last = max(len(self._header) - 1, 0)
        beyond = self._delimiter.join(map(shown, row.cells[last:]))
        return [*map(self.columns.cell, row.cells[:last]), harmless(beyond)]

    def added(self, item: Item, outcome: RowOutcome) -> list[str]:
        """The cells that are added to each row of an item, which is counted."""
        if isinstance(item, SkippedRow):
            return SKIPPED
        if isinstance(outcome, Answered):
            shown: Shown = outcome.found.made
            brief, profile = shown
            came = Came(outcome.kind, brief.ruling.verdict, profile[1])
            self.tally.judged[came] += 1
            group, first = item.group, None
            if group is not None:
                first = min(map(number_of, item.rows))
            return self.columns.judged(brief, outcome.kind, profile, group, first)
        assert isinstance(outcome, Refused)  # noqa: S101  only rows that are skipped are neither
        self.tally.refused[outcome.slug] += len(outcome.rows)
        check = item.check if isinstance(item, Faulty) else item.plan.kind.slug
        return self.columns.error(check, item.group, outcome)
