"""Reports in the OpenAPI document: pages of answers, and the address that draws earlier ones."""

from typing import Any, Final

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.evidence.languages import LANGUAGES
from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    problems,
)
from weighworthy_service.web.page_asked import HTML
from weighworthy_service.wire.report import ReportForm

# A report is a page for people: complete in itself, with neither script nor anything from outside.
PAGE: Final[dict[str, Any]] = {HTML: {"schema": {"type": "string"}}}
LANGUAGE_PARAMETER: Final[dict[str, Any]] = {
    "name": "lang",
    "in": "query",
    "description": "The language of a report (`Accept: text/html`).",
    "schema": {"type": "string", "enum": [*LANGUAGES], "default": LANGUAGES[0]},
}


def paged(response: dict[str, Any]) -> dict[str, Any]:
    """An answer that is also there as a page."""
    return {**response, "content": {**response["content"], **PAGE}}


_ABOUT: Final = """\
A page for people of an answer that was kept: of a check, of a sitting, of the logbook's status or
drift, or of a batch. The answer is taken at its word, which the page says; to have a check judged
anew, send its request to its own address with `Accept: text/html`. With the request, whose digest
must be the one that the answer names, the page also tells balance, weights and readings.

Reports of status and drift have at most 1,000 balances or 10,000 points; a kept answer, 4 MiB.
Pages have neither script nor anything from outside, and are laid out for A4.
"""


def report_operations() -> dict[str, dict[str, Any]]:
    """The address of reports."""
    example = BY_SLUG["simulated-loss"].example
    examples = {
        "SimulatedLossCheck": {
            "value": {"answer": example["answer"], "request": example["request"]},
        }
    }
    operation = {
        "operationId": "draw_report",
        "tags": ["checks"],
        "summary": "An earlier answer as a page for people",
        "description": _ABOUT,
        "security": SECURITY,
        "parameters": [LANGUAGE_PARAMETER],
        "requestBody": {
            "required": True,
            "content": {JSON: {"schema": ReportForm, "examples": examples}},
        },
        "responses": {
            "200": {
                "description": "The report.",
                "headers": {"X-Request-Id": "X-Request-Id"},
                "content": PAGE,
            },
            **problems((*BODY, *GUARDED, *EVERYWHERE)),
        },
    }
    return {"/v1/reports": {"post": operation}}
