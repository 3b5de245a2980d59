"""Drafts of mappings in the OpenAPI document."""

from typing import Any, Final

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.batch_body import CELLS, CSV
from weighworthy_service.web.document_parts import (
    EVERYWHERE,
    FILE,
    GUARDED,
    SECURITY,
    TEXT,
    problems,
    response,
)
from weighworthy_service.web.multipart import MULTIPART
from weighworthy_service.wire.draft import DraftForm

TOML_TYPE: Final = "application/toml"
# What the part `table` of a mapping can state, as far as a draft needs it.
SECTION: Final = ("encoding", "delimiter", "header_row", "sheet")
_DRAFT: Final = """\
A beginning for the person who writes the mapping of a table: which columns look like which fields,
by the words of their titles and what is in their cells, with every doubt as a comment. It states
nothing that no table shows, so weights and balances have to be filled in; until then a batch
refuses it, and says what is missing.

A mapping is for `POST /v1/batches`; `mapping.schema.json` beside this document is its schema.
"""
_PROBLEMS: Final = (
    "not-acceptable",
    "length-required",
    "too-large",
    "body-incomplete",
    "unsupported-media-type",
    "invalid",
    "table-not-usable",
)
_EXAMPLE: Final = "Balance;Date;Start [g];End [g]\r\nMA-07;17.03.2026 06:55;12,0031;10,0012\r\n"


def mapping_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    answer = response("The draft.", DraftForm)
    answer["content"][TOML_TYPE] = {"schema": {"type": "string"}}
    table = {**FILE, "description": "The table."}
    return {
        "/v1/mappings/draft": {
            "post": {
                "operationId": "draft_mapping",
                "tags": ["tables"],
                "summary": "Draft the mapping of a table",
                "description": _DRAFT,
                "security": SECURITY,
                "parameters": [_parameter("check", [kind.slug for kind in KINDS]), *_section()],
                "requestBody": {
                    "required": True,
                    "content": {
                        CSV: {**TEXT, "examples": {"Table": {"value": _EXAMPLE}}},
                        CELLS: TEXT,
                        MULTIPART: {
                            "schema": {
                                "type": "object",
                                "properties": {"table": table},
                                "required": ["table"],
                                "additionalProperties": False,
                            },
                            "encoding": {"table": {"contentType": f"{CSV}, {CELLS}"}},
                        },
                    },
                },
                "responses": {"200": answer, **problems((*_PROBLEMS, *GUARDED, *EVERYWHERE))},
            }
        }
    }


def _section() -> list[dict[str, Any]]:
    return [_parameter(name, None) for name in SECTION]


def _parameter(name: str, values: list[str] | None) -> dict[str, Any]:
    sentences = {
        "check": "The kind of check, if known; otherwise it is guessed.",
        "header_row": "Row with the names of the columns, from 1; 0: there is none.",
    }
    said = sentences.get(name, f"As `{name}` in the `[table]` part of a mapping.")
    schema: dict[str, Any] = {"type": "integer" if name == "header_row" else "string"}
    if values is not None:
        schema["enum"] = values
    return {"name": name, "in": "query", "description": said, "schema": schema}
