"""Sittings in the OpenAPI document."""

import json
from functools import cache
from importlib.resources import files
from typing import Any, Final

from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    problems,
    response,
)
from weighworthy_service.web.report_document import LANGUAGE_PARAMETER, paged
from weighworthy_service.wire.sitting import SittingAnswerForm, SittingForm

_DETAIL: Final = {
    "name": "detail",
    "in": "query",
    "description": "`short` leaves out the budgets and `results.reveals`.",
    "schema": {"type": "string", "enum": ["full", "short"], "default": "full"},
}


@cache
def sitting_about() -> str:
    """What a sitting is and how it is judged, in Markdown, for people."""
    return (files("weighworthy_service.sittings") / "about.md").read_text("utf-8")


@cache
def sitting_example() -> dict[str, Any]:
    """`request` and `answer` of a worked example."""
    text = (files("weighworthy_service.sittings") / "example.json").read_text("utf-8")
    example: dict[str, Any] = json.loads(text)
    return example


def sitting_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    example = sitting_example()
    body = {"schema": SittingForm, "examples": {"Sitting": {"value": example["request"]}}}
    return {
        "/v1/sittings": {
            "post": {
                "operationId": "evaluate_sitting",
                "tags": ["checks"],
                "summary": "A sitting: several checks of one balance together",
                "description": sitting_about(),
                "security": SECURITY,
                "parameters": [_DETAIL, LANGUAGE_PARAMETER],
                "requestBody": {"required": True, "content": {JSON: body}},
                "responses": {
                    "200": paged(
                        response(
                            "The verdict of the sitting and the answer of each check; as "
                            "`text/html` its report.",
                            SittingAnswerForm,
                            {"Sitting": example["answer"]},
                        )
                    ),
                    **problems(
                        (*BODY, "digest-differs", "profile-not-usable", *GUARDED, *EVERYWHERE)
                    ),
                },
            }
        }
    }
