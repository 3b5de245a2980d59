"""The checks of a logbook as rows of a table, which a mapping makes check requests of."""

from codecs import BOM_UTF8
from collections.abc import Iterator

from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.tables.asked import Asked, Faulty
from weighworthy_service.tables.cells import SkippedRow, TableNotUsable
from weighworthy_service.tables.gather import items_of
from weighworthy_service.tables.mapping import MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.mapping_reading import parse_mapping
from weighworthy_service.tables.outcome import RowError
from weighworthy_service.tables.plan import plan_of
from weighworthy_service.tables.reading import open_cells, open_csv
from weighworthy_service.tables.run import number_of, sheet_of
from weighworthy_service.tables.table import Table
from weighworthy_service.web.batch_asked import unusable
from weighworthy_service.web.batch_body import CELLS
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.logbook_placed import Placed
from weighworthy_service.web.multipart import Parts
from weighworthy_service.wire.coded import FieldError


def table_entries(parts: Parts, limits: BatchLimits) -> Iterator[Placed]:
    """A check for each row, or for the rows that are gathered into one; its id is its first row.

    Time, instrument and person are those of the request that the rows make. Rows that hold no check
    by their place or look are passed over; of all others, one that cannot be read has `errors`.

    Raises:
        Refusal: `table-not-usable`, `mapping-not-usable`.
    """
    try:
        mapping = parse_mapping(parts.texts["mapping"].removeprefix(BOM_UTF8))
        table = _opened(parts, mapping, limits)
        plan = plan_of(mapping, table)
    except TableNotUsable as error:
        raise unusable(error, mapping) from None
    except MappingNotUsable as error:
        raise refusal_of("mapping-not-usable", error.errors) from None
    return (_placed(item) for item in items_of(table, plan) if not isinstance(item, SkippedRow))


def _opened(parts: Parts, mapping: TableMapping, limits: BatchLimits) -> Table:
    parts.table.seek(0)
    reading = open_cells if parts.type == CELLS else open_csv
    return reading(
        parts.table,
        mapping.table,
        mapping.wanted,
        numbers=number_columns(mapping),
        limits=limits.table,
    )


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
