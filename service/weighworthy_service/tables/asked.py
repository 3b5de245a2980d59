"""What the rows of a table ask for: checks, each of one row or more, and rows that ask for none."""

from typing import Any, NamedTuple

from weighworthy_service.tables.cells import SHOWN_LENGTH, AnyRow, BadRow, Row, SkippedRow
from weighworthy_service.tables.outcome import RowError, Where
from weighworthy_service.tables.plan import KindPlan


class Asked(NamedTuple):
    """A check request and the rows that make it, in the order of the entries of its list.

    `group` names a gathered check; None: the row is a check of its own.
    """

    plan: KindPlan
    rows: tuple[Row, ...]
    document: dict[str, Any]
    group: str | None

    def where(self, pointer: str) -> Where:
        """The cell behind a place of the request."""
        return self.plan.where(self.rows, pointer)


class Faulty(NamedTuple):
    """Rows that make no request; `slug` names the kind of problem, `check` its kind if known."""

    rows: tuple[AnyRow, ...]
    slug: str
    detail: str
    errors: tuple[RowError, ...]
    labels: dict[str, str]
    check: str | None = None
    group: str | None = None


Item = Asked | Faulty | SkippedRow


def invalid(
    row: AnyRow,
    errors: tuple[RowError, ...],
    *,
    labels: dict[str, str] | None = None,
    check: str | None = None,
    group: str | None = None,
) -> Faulty:
    """One row with what is wrong with its cells, told in the first one's words."""
    first, others = errors[0], len(errors) - 1
    where = f"column {first.where.column!r}: " if first.where.column else ""
    more = f" (and {others} more)" if others else ""
    detail = f"{where}{first.detail}{more}"
    return Faulty((row,), "invalid", detail, errors, labels or {}, check, group)


def unreadable(row: BadRow) -> Faulty:
    """A row that could not be told apart into cells."""
    where = Where(row.sheet, row.number, None, row.text[:SHOWN_LENGTH])
    return invalid(row, (RowError("", row.code, row.detail, where),))
