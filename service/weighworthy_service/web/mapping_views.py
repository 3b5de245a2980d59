"""The first mapping of a table that somebody sends."""

from contextlib import ExitStack
from typing import Any, Final

from flask import Response, request
from marshmallow import ValidationError

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.json_document import pointer
from weighworthy_service.profiles.refusal import refusal_of
from weighworthy_service.tables.cells import TableNotUsable
from weighworthy_service.tables.draft import as_json, draft
from weighworthy_service.tables.mapping_form import TableForm
from weighworthy_service.tables.reading import open_cells, open_csv
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.table_section import TableSection
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.asking import best_type, parameter_faults
from weighworthy_service.web.batch_asked import table_errors
from weighworthy_service.web.batch_body import BatchBody, read_batch
from weighworthy_service.web.batch_limits import BatchLimits
from weighworthy_service.web.mapping_document import SECTION, TOML_TYPE
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import JSON_TYPE, json_response
from weighworthy_service.wire.coded import FieldError, field_errors

_TABLE: Final = TableForm()


def views(known: Known) -> Views:
    """The address of drafts."""
    limits = known.limits

    @heavy
    def drafts() -> Response:
        media_type = best_type((JSON_TYPE, TOML_TYPE))
        section = _section()
        with ExitStack() as stack:
            body = read_batch(request, limits, stack)
            if body.form == "lines" or body.mapping is not None or body.profile is not None:
                said = "a table alone is drafted from, as CSV or as typed cells"
                raise refusal_of("invalid", [FieldError("", "contradiction", said)])
            try:
                table = _opened(body, section, limits)
                made = draft(table, request.args.get("check"))
            except TableNotUsable as error:
                raise refusal_of("table-not-usable", table_errors(error)) from None
        if media_type == TOML_TYPE:
            return Response(made.toml, content_type=f"{TOML_TYPE}; charset=utf-8")
        read_as = {name: table.read_as[name] for name in (*SECTION, "assumed")}
        return json_response({**as_json(made), "read_as": read_as})

    return {"mappings_draft": drafts}


def _section() -> TableSection:
    """What the query states of the table, for one that cannot be read without."""
    kinds = tuple(kind.slug for kind in KINDS)
    errors = parameter_faults({"check": kinds, **dict.fromkeys(SECTION)})
    stated: dict[str, Any] = {
        name: value for name, value in request.args.items() if name in SECTION
    }
    row = stated.get("header_row")
    if row is not None and row.isascii() and row.isdigit() and len(row) < 10:
        stated["header_row"] = int(row)
    try:
        section: TableSection = _TABLE.load(stated)
    except ValidationError as error:
        for fault in field_errors(error.messages):
            name = fault.pointer.removeprefix(pointer(""))
            detail = f"the query parameter {name!r}: {fault.detail}"
            errors.append(FieldError("", fault.code, detail))
    if errors:
        raise refusal_of("invalid", errors)
    return section


def _opened(body: BatchBody, section: TableSection, limits: BatchLimits) -> Table:
    opening = open_cells if body.form == "cells" else open_csv
    return opening(body.table, section, (), limits=limits.table)
