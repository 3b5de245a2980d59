"""The table of a body, opened by its mapping: of a batch, or beside a logbook."""

from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.tables.mapping import MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_flaws import number_columns
from weighworthy_service.tables.plan import Plan, plan_of
from weighworthy_service.tables.reading import open_cells, open_csv
from weighworthy_service.tables.table import Table
from weighworthy_service.web.batch_asked import unusable
from weighworthy_service.web.batch_body import BatchBody
from weighworthy_service.web.batch_limits import BatchLimits


def opened_by(
    mapping: TableMapping, body: BatchBody, limits: BatchLimits, first_row: int = 1
) -> tuple[Table, Plan]:
    """A table, and what its columns mean; `first_row` as of `open_csv`.

    Raises:
        Refusal: `table-not-usable`, `mapping-not-usable`.
    """
    try:
        table = _opened(mapping, body, limits, first_row)
        return table, plan_of(mapping, table)
    except TableNotUsable as error:
        raise unusable(error, mapping) from None
    except MappingNotUsable as error:
        raise refusal_of("mapping-not-usable", error.errors) from None


def _opened(mapping: TableMapping, body: BatchBody, limits: BatchLimits, first_row: int) -> Table:
    numbers = number_columns(mapping)
    if body.form == "cells":
        # They bring their own row numbers.
        return open_cells(
            body.table, mapping.table, mapping.wanted, numbers=numbers, limits=limits.table
        )
    return open_csv(
        body.table,
        mapping.table,
        mapping.wanted,
        numbers=numbers,
        first_row=first_row,
        limits=limits.table,
    )
