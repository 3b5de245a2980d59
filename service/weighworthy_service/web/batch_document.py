"""Batches in the OpenAPI document."""

from typing import Any, Final

from weighworthy_service.tables.added import ADDED
from weighworthy_service.web.batch_body import CELLS, CSV
from weighworthy_service.web.batch_read_as import READ_AS
from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    FILE,
    GUARDED,
    SECURITY,
    TEXT,
    problems,
)
from weighworthy_service.web.multipart import MULTIPART
from weighworthy_service.web.report_document import LANGUAGE_PARAMETER, PAGE
from weighworthy_service.web.spooled_lines import NDJSON
from weighworthy_service.wire.batch import BatchAnswerForm, BatchProblemForm, BatchSummaryForm

LINES: Final = {
    "BatchAnswer": BatchAnswerForm,
    "BatchProblem": BatchProblemForm,
    "BatchSummary": BatchSummaryForm,
}
_ABOUT: Final = f"""\
A body has one of three forms. Check requests: one JSON object a line, each with its `check`; the
first line may be `{{"defaults": {{…}}}}`, of which every other is then the merge patch (RFC 7396).
A table as CSV, with a mapping that says which column is which field. The same as typed cells: one
`["Sheet", row, [cell, …]]` a line, rows from 1. A table comes as part `table` of
`multipart/form-data` beside `mapping` and `profile` (TOML or JSON), or as the body with both named
in the query. The profile is for checks that name none. Bodies may come in chunks and as
`Content-Encoding: gzip`.

A typed cell is a text, or `null` where it is empty, or one of these:
`{{"n": "12.003", "format": "0.000"}}`, a number as text, with the number format it is shown by;
`{{"t": "2026-03-17T08:05:00", "format": "…"}}`, a date with time of the local clock;
`{{"b": true}}`; `{{"error": "#N/A"}}`; `{{"uncached": "=A1"}}`, a formula without a stored value.
Formats may be left out. A JSON number is refused: it has been through a binary float. `sheet` of a
mapping chooses among sheets; of CSV, which has none, it says nothing.

The body is read whole before anything is answered, and what is wrong with it as a whole is
refused: as `table-not-usable` where the file cannot be taken apart (encoding, delimiter, header
row, decimal mark, limits), as `mapping-not-usable` where it can, but the mapping names columns or a
sheet that are not there. Then the answer is streamed. A faulty row does not stop the others: it
gets a problem, or says why in `ww_error`. Every row is judged, in error or skipped.

As `{NDJSON}` every check has a line, in the order of first rows, and the last line is
a summary; without it, or where it is not `complete`, the answer broke off, for example because
judging took more of a processor than the service gives to one batch. As `{CSV}` the table
comes back as it was, in its order, with these columns added:
{", ".join(f"`{name}`" for name in ADDED)}.
Of a check of several rows `ww_first_row` is the number of the first, by which checks of one key are
told apart. Cells that a spreadsheet program would take for formulas get an apostrophe. The header
`Weighworthy-Rows-In` counts the rows. Such an answer breaks off without the end of its chunks.
In both, the header `Weighworthy-Read-As` tells what a summary has under `read_as`.
"""
READ_AS_HEADER: Final[dict[str, Any]] = {
    "description": (
        "How the table was read, known before its first row is judged: a dictionary of structured "
        "fields (RFC 9651) of `encoding`, `delimiter`, `decimal`, `thousands`, `header_row` and "
        "`sheet`, as far as they apply, with the parameter `stated` for what the mapping fixed and "
        "`assumed` for what nothing in the file decided. Texts beyond printable ASCII, also a tab, "
        "are display strings."
    ),
    "schema": {"type": "string"},
    "example": 'encoding="utf-8", delimiter=";", decimal=",";stated, header_row=3',
}
MAPPING_ID: Final[dict[str, Any]] = {
    "name": "mapping",
    "in": "query",
    "description": "Id of a mapping that the service knows, for the table.",
    "schema": {"type": "string"},
}
_PARAMETERS: Final = (
    ("profile", "Name of a profile, for checks that name none.", {"type": "string"}),
    (
        "first_row",
        "Number of the first row behind the header, where the table is part of a longer one.",
        {"type": "integer", "minimum": 1, "default": 1},
    ),
    (
        "columns",
        "`added`: of a row only `ww_sheet`, `ww_row` and the added columns.",
        {"type": "string", "enum": ["all", "added"], "default": "all"},
    ),
    (
        "detail",
        "`short` leaves out the budgets and `results.reveals`.",
        {"type": "string", "enum": ["full", "short"], "default": "full"},
    ),
)
_KINDS: Final = (
    *BODY,
    "body-incomplete",
    "table-not-usable",
    "mapping-not-usable",
    "profile-not-usable",
)


def batch_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    parts = {
        "type": "object",
        "properties": {
            "table": {**FILE, "description": f"{CSV}, {CELLS} or {NDJSON}."},
            "mapping": {"type": "string", "description": "TOML, or JSON."},
            "profile": {"type": "string", "description": "TOML, or JSON."},
        },
        "required": ["table"],
        "additionalProperties": False,
    }
    lines = {"anyOf": [{"$ref": f"#/components/schemas/{name}"} for name in LINES]}
    return {
        "/v1/batches": {
            "post": {
                "operationId": "judge_batch",
                "tags": ["checks"],
                "summary": "Many checks at once",
                "description": _ABOUT,
                "security": SECURITY,
                "parameters": [
                    MAPPING_ID,
                    *(
                        {"name": name, "in": "query", "description": said, "schema": schema}
                        for name, said, schema in _PARAMETERS
                    ),
                    LANGUAGE_PARAMETER,
                ],
                "requestBody": {
                    "required": True,
                    "content": {
                        MULTIPART: {
                            "schema": parts,
                            "encoding": {"table": {"contentType": f"{CSV}, {CELLS}, {NDJSON}"}},
                        },
                        **dict.fromkeys((CSV, CELLS, NDJSON), TEXT),
                    },
                },
                "responses": {
                    "200": {
                        "description": "What became of every row.",
                        "headers": {
                            "X-Request-Id": "X-Request-Id",
                            "Weighworthy-Rows-In": {
                                "description": "Rows of the table, in an answer of CSV.",
                                "schema": {"type": "integer"},
                            },
                            READ_AS: READ_AS_HEADER,
                        },
                        "content": {
                            NDJSON: {
                                "schema": {
                                    "type": "string",
                                    "description": "Lines of JSON, each of one of these forms.",
                                },
                                "x-line-schema": lines,
                            },
                            CSV: {"schema": {"type": "string"}},
                            **PAGE,
                        },
                    },
                    **problems((*_KINDS, *GUARDED, *EVERYWHERE)),
                },
            }
        }
    }
