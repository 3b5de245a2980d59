"""The checks of a logbook as rows of a table, which a mapping makes check requests of."""

from collections.abc import Iterator, Mapping
from typing import Any

from weighworthy_service.tables.asked import Asked, Faulty
from weighworthy_service.tables.cells import SkippedRow
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.mapping import TableMapping
from weighworthy_service.tables.outcome import RowError
from weighworthy_service.tables.run import number_of, sheet_of
from weighworthy_service.web.batch_asked import asked_mapping
from weighworthy_service.web.batch_body import BatchBody
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.batch_table import opened_by
from weighworthy_service.web.logbook_placed import Placed
from weighworthy_service.wire.coded import FieldError


def opened_table(
    sent: BatchBody, mappings: Mapping[str, TableMapping], limits: BatchLimits
) -> tuple[Iterator[Placed], Mapping[str, Any]]:
    """A check for each row, or for the rows that are gathered into one; and how it was read.

    The id of a check is its first row; time, instrument and person are those of the request that
    the rows make. Rows that hold no check by their place or look are passed over; of all others,
    one that cannot be read has `errors`.

    Raises:
        Refusal: `invalid`, where the mapping is missing or given twice; `table-not-usable`,
            `mapping-not-usable`.
    """
    table, plan = opened_by(asked_mapping(sent.mapping, mappings), sent, limits)
    entries = (_placed(item) for item in items_of(table, plan) if not isinstance(item, SkippedRow))
    return entries, table.read_as


def _placed(item: Asked | Faulty) -> Placed:
    first = item.rows[0]
    sheet, number = sheet_of(first), number_of(first)
    where = f"row {number}" if sheet is None else f"row {number} of {sheet}"
    if isinstance(item, Faulty):
        errors = tuple(_error(error) for error in item.errors)
        return Placed("", where, None, errors or (FieldError("", item.slug, item.detail),))
    request = {**item.document, "check": item.plan.kind.slug}
    return Placed("", where, {"id": where, "kind": "check", "request": request})


def _error(error: RowError) -> FieldError:
    cell = "" if error.where.column is None else f"column {error.where.column!r}: "
    return FieldError(error.pointer, error.code, f"{cell}{error.detail}")
