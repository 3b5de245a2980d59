"""What the descriptions of all addresses are put together from."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from marshmallow import Schema

from weighworthy_service.wire.problem import PROBLEMS, ProblemForm

JSON: Final = "application/json"
PROBLEM: Final = "application/problem+json"
# Kinds of problem that every address may have; that those behind a key have; that those with a
# JSON body have.
EVERYWHERE: Final = ("internal", "overloaded")
GUARDED: Final = ("key-missing", "key-not-allowed", "cross-site", "rate-limited")
BODY: Final = (
    "malformed-json",
    "not-acceptable",
    "length-required",
    "too-large",
    "unsupported-media-type",
    "too-slow",
    "invalid",
)
# A body of text: what stands in it is read line by line or by a mapping, beyond what a schema says.
TEXT: Final = {"schema": {"type": "string", "minLength": 1}}
# A part that is a file, with a name.
FILE: Final = {"type": "string", "format": "binary"}
SECURITY: Final[list[dict[str, list[str]]]] = [{"bearer": []}, {}]


def get(
    name: str, tag: str, summary: str, form: type[Schema] | None, *, guarded: bool = False
) -> dict[str, Any]:
    """An address that is read; without a form, its answers are added by the caller."""
    operation: dict[str, Any] = {"operationId": name, "tags": [tag], "summary": summary}
    if guarded:
        operation["security"] = SECURITY
    if form is not None:
        slugs = (*(GUARDED if guarded else ()), *EVERYWHERE)
        operation["responses"] = {"200": response(summary + ".", form), **problems(slugs)}
    return operation


def response(
    sentence: str, form: type[Schema], examples: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """An answer of one form, with examples by name."""
    media: dict[str, Any] = {"schema": form}
    if examples:
        media["examples"] = {name: {"value": value} for name, value in examples.items()}
    return {
        "description": sentence,
        "headers": {"X-Request-Id": "X-Request-Id"},
        "content": {JSON: media},
    }


def problems(slugs: Iterable[str]) -> dict[str, Any]:
    """One response a status, naming the kinds of problem that have it."""
    by_status: dict[int, list[str]] = {}
    for slug in dict.fromkeys(slugs):
        by_status.setdefault(PROBLEMS[slug].status, []).append(slug)
    return {
        str(status): {
            "description": "; ".join(f"`{slug}`: {PROBLEMS[slug].title}" for slug in kinds),
            "headers": {"X-Request-Id": "X-Request-Id"},
            "content": {PROBLEM: {"schema": ProblemForm}},
        }
        for status, kinds in sorted(by_status.items())
    }
