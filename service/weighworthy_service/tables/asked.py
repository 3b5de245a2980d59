"""What the rows of a table ask for: checks, each of one row or more, and rows that ask for none."""

from typing import Any, NamedTuple

from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.tables.cells import SHOWN_LENGTH, AnyRow, BadRow, Row, SkippedRow
from weighworthy_service.tables.outcome import RowError, Where, row_error
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


def refused_rows(asked: Asked, refusal: Refusal) -> list[Faulty]:
    """What becomes of the rows of a request that is refused.

    Where the faults are in cells of some rows, those rows have them and their fellows are
    incomplete; where one is in no cell, as in a constant, all rows have all of them.
    """
    kind, labels = asked.plan.kind.slug, asked.document.get("labels", {})
    errors = [row_error(error, asked.where(error.pointer)) for error in refusal.errors]
    bad = {error.where.row for error in errors}
    fellows = tuple(row for row in asked.rows if row[1] not in bad)
    if not fellows or not errors or any(error.where.column is None for error in errors):
        return [
            Faulty(
                asked.rows, refusal.slug, refusal.detail, tuple(errors), labels, kind, asked.group
            )
        ]
    first_good = min(row[1] for row in fellows)
    why = f"row {min(row for row in bad if row)} of the same check {asked.group!r} is faulty"
    found = [(first_good, incomplete(fellows, why, labels, kind, asked.group))]
    for row in asked.rows:
        own = tuple(error for error in errors if error.where.row == row[1])
        if own:
            faulty = invalid(row, own, labels=labels, check=kind, group=asked.group)
            found.append((row[1], faulty))
    return [faulty for _, faulty in sorted(found, key=lambda one: one[0])]


def incomplete(
    rows: tuple[Row, ...], why: str, labels: dict[str, str], check: str, group: str | None
) -> Faulty:
    """Rows that are right, of a check that cannot be judged without others."""
    error = RowError("", "group-incomplete", why, Where(rows[0][0], rows[0][1]))
    return Faulty(rows, "group-incomplete", why, (error,), labels, check, group)
