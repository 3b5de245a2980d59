"""Review and resolution in the OpenAPI document."""

import json
from functools import cache
from importlib.resources import files
from typing import Any

from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    TEXT,
    problems,
    response,
)
from weighworthy_service.web.review_form import ReviewRequestForm
from weighworthy_service.wire.review import (
    ResolutionForm,
    ResolveRequestForm,
    ReviewForm,
)

_REVIEW = """\
Errors keep a profile from being used; they are an answer, not a refusal. Remarks tell what is
unwise: limits that rounding alone can break, that the uncertainty takes whole, that the display is
too coarse for; rules that never come into force; start windows that the weights miss. With
instruments, weights and loads, `judgement` says for each limit how often it fails a balance without
error and passes one that is 1.5 tolerances off, as JCGM 106:2012, 9, has it, from the budget of a
check that went perfectly. Where every such check would be void, as of a load above the capacity or
with weights that the profile wants in date and that state none, a remark says so, and no chances
are told.

A profile sent as TOML, in `profile_toml` or as the whole body, has lines.
"""
_RESOLVE = """\
The last rule that applies wins each setting, and wins it whole; the rules that lost are named too.
A profile sent as TOML in `profile_toml` has lines.
"""


@cache
def review_examples() -> dict[str, Any]:
    """`review` and `resolve`, each with a `request` and its `answer`."""
    folder = files("weighworthy_service.profiles") / "examples"
    return {
        name: json.loads((folder / f"{name}.json").read_text("utf-8"))
        for name in ("review", "resolve")
    }


def review_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    examples = review_examples()
    toml = {
        "application/toml": {
            **TEXT,
            "examples": {"Profile": {"value": examples["review"]["request"]["profile_toml"]}},
        }
    }
    return {
        "/v1/profiles/review": {
            "post": {
                "operationId": "review_profile",
                "tags": ["profiles"],
                "summary": "Review a profile",
                "description": _REVIEW,
                "security": SECURITY,
                "requestBody": _body(ReviewRequestForm, "Review", examples["review"], toml),
                "responses": {
                    "200": response(
                        "The review, also of a profile with errors.",
                        ReviewForm,
                        {"Review": examples["review"]["answer"]},
                    ),
                    **problems((*BODY, "profile-not-usable", *GUARDED, *EVERYWHERE)),
                },
            }
        },
        "/v1/profiles/resolve": {
            "post": {
                "operationId": "resolve_profile",
                "tags": ["profiles"],
                "summary": "What a profile sets for one check of one instrument",
                "description": _RESOLVE,
                "security": SECURITY,
                "requestBody": _body(ResolveRequestForm, "Resolve", examples["resolve"], {}),
                "responses": {
                    "200": response(
                        "Every setting in force.",
                        ResolutionForm,
                        {"Resolve": examples["resolve"]["answer"]},
                    ),
                    **problems((*BODY, "profile-not-usable", *GUARDED, *EVERYWHERE)),
                },
            }
        },
    }


def _body(form: Any, name: str, example: Any, more: dict[str, Any]) -> dict[str, Any]:
    examples = {name: {"value": example["request"]}}
    return {"required": True, "content": {JSON: {"schema": form, "examples": examples}, **more}}
