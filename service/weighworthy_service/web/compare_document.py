"""Comparison and bench card in the OpenAPI document."""

import json
from functools import cache
from importlib.resources import files
from typing import Any

from weighworthy_service.web.card_form import CardRequestForm
from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    problems,
    response,
)
from weighworthy_service.wire.card import CardForm
from weighworthy_service.wire.compare import CompareForm, ComparisonForm

_COMPARE = """\
Compared is what profiles mean, not how they are written: `4 mg` and `0.004 g`, or one rule split in
two, are equal. Every setting in force on either side is listed, for each balance and kind of check,
with its place in both documents. A limit is compared at the loads that matter to it.

With past requests every one is judged on both sides, and every one is counted: as changed,
unchanged, or refused with its faults. A side without `profile` judges each request by its own, and
`weights` of a side stand in for those of the same name: two certificates of one set of weights.

The body may have up to 8 MiB. More past checks than one request takes go in several: one
with `part` = `settings`, then groups of them with `part` = `verdicts`, whose counts add up, as the
client does.
"""
_CARD = """\
What an analyst needs at the balance: which weights to put on and take off, between which displayed
values the check passes, and what to do if not. The ranges are found by evaluating: their ends pass,
and the next digit does not. `Accept` chooses between a page to print (A4 or letter, no script,
nothing from outside), plain text of 80 columns, and JSON.

A check that cannot pass whatever the display shows has a card that says why.
"""


@cache
def compare_examples() -> dict[str, Any]:
    """`compare` and `card`, each with a `request` and its `answer`."""
    folder = files("weighworthy_service.profiles") / "examples"
    return {
        name: json.loads((folder / f"{name}.json").read_text("utf-8"))
        for name in ("compare", "card")
    }


def compare_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    compare = _posted("compare_profiles", CompareForm, ComparisonForm, "compare")
    card = _posted("bench_card", CardRequestForm, CardForm, "card")
    written = {"schema": {"type": "string"}}
    card["responses"]["200"]["content"] |= {"text/html": written, "text/plain": written}
    return {
        "/v1/profiles/compare": {
            "post": {
                **compare,
                "summary": "What a change of profile or certificate means",
                "description": _COMPARE,
            }
        },
        "/v1/profiles/card": {
            "post": {**card, "summary": "A bench card", "description": _CARD},
        },
    }


def _posted(operation: str, asked: Any, said: Any, name: str) -> dict[str, Any]:
    example = compare_examples()[name]
    title = name.capitalize()
    body = {"schema": asked, "examples": {title: {"value": example["request"]}}}
    return {
        "operationId": operation,
        "tags": ["profiles"],
        "security": SECURITY,
        "requestBody": {"required": True, "content": {JSON: body}},
        "responses": {
            "200": response(
                "The answer, also where nothing passes.", said, {title: example["answer"]}
            ),
            **problems((*BODY, "profile-not-usable", *GUARDED, *EVERYWHERE)),
        },
    }
