"""The OpenAPI document, derived from the very schemas that read the requests.

`python -m weighworthy_service.web.document > openapi/weighworthy-v1.json` writes it anew.
"""

import json
import sys
from functools import cache
from typing import Any, Final

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import fields

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.checks.request import CheckForm
from weighworthy_service.web.batch_document import LINES, batch_operations
from weighworthy_service.web.compare_document import compare_operations
from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    get,
    problems,
    response,
)
from weighworthy_service.web.logbook_document import logbook_operations
from weighworthy_service.web.mapping_document import mapping_operations
from weighworthy_service.web.plan_document import plan_operations
from weighworthy_service.web.profile_document import profile_operations
from weighworthy_service.web.record_document import record_operations
from weighworthy_service.web.report_document import LANGUAGE_PARAMETER, paged, report_operations
from weighworthy_service.web.review_document import review_operations
from weighworthy_service.web.sitting_document import sitting_operations
from weighworthy_service.wire.containers import MapOf, Part
from weighworthy_service.wire.fields import Strict
from weighworthy_service.wire.problem import PROBLEMS
from weighworthy_service.wire.profile import ProfileSchema
from weighworthy_service.wire.request import ProfileReference
from weighworthy_service.wire.responses import (
    AnswerForm,
    InfoForm,
    KindsForm,
    ReadyForm,
    StatusForm,
)

API_VERSION: Final = "1.0.0"
_ABOUT: Final = """\
Evaluates routine checks of the balances inside loss-on-drying moisture analysers.

Measured values are texts with their unit, like `"12.003 g"`. In requests, null is the same as
leaving out, and unknown fields are refused. In answers every listed field is present (an
`explanation` only where it was asked for), masses are in g and losses in %, and more fields may
come. A check that fails is an answer, not an error.

Nothing is stored: the same request with the same profile, engine revision and installed
dependencies gives the same bytes, so it is safe to repeat any call.

Refusals are `application/problem+json` whatever `Accept` says, except those of the HTTP server
itself (a request line or header beyond its limits), which do not reach the application.
"""
_KEYS: Final = """\
An API key that has the scope of the request: `evaluate` for what is judged (POST), `read` for what
is looked at (GET), `metrics` for `/metrics`. One without it is answered 403 `key-not-allowed`. A
service may also be set up to take requests without a key.
"""
_PAGE: Final = {"text/html": {"schema": {"type": "string"}}}
_JUDGING: Final = (*BODY, "digest-differs", "profile-not-usable")


@cache
def document_bytes() -> bytes:
    """The document as it is served and as it is kept in the repository."""
    text = json.dumps(document(), indent=2, ensure_ascii=False, allow_nan=False)
    return text.encode() + b"\n"


def document() -> dict[str, Any]:
    """The OpenAPI 3.1 document."""
    plugin = MarshmallowPlugin(schema_name_resolver=_component_name)
    spec = APISpec(
        title="weighworthy",
        version=API_VERSION,
        openapi_version="3.1.1",
        plugins=[plugin],
        info={
            "summary": "Routine checks of the balances inside moisture analysers",
            "description": _ABOUT,
            "license": {"name": "Apache License 2.0", "identifier": "Apache-2.0"},
        },
        servers=[{"url": "/", "description": "The service this document comes from."}],
        tags=[
            {"name": "checks", "description": "Judging one check, or a sitting of several."},
            {"name": "profiles", "description": "The tolerances that checks are judged by."},
            {"name": "plans", "description": "What to check with, how tightly, how much to weigh."},
            {"name": "tables", "description": "Many checks at once, from exported tables."},
            {"name": "logbook", "description": "What the checks of many days come to together."},
            {"name": "records", "description": "Evidence that can be stored and verified later."},
            {"name": "service", "description": "What the service is and whether it lives."},
        ],
    )
    assert plugin.converter is not None  # noqa: S101  APISpec has just made it
    plugin.converter.add_attribute_function(_strict2properties)  # type: ignore[no-untyped-call]
    spec.components.security_scheme(
        "bearer",
        {
            "type": "http",
            "scheme": "bearer",
            "description": _KEYS,
        },
    )
    spec.components.header(
        "X-Request-Id",
        {
            "description": "The request's own, if it has the form "
            "`[A-Za-z0-9._-]{1,64}`, otherwise a new one.",
            "schema": {"type": "string"},
        },
    )
    for kind in KINDS:
        spec.path(path=f"/v1/checks/{kind.slug}", operations={"post": _judging(kind)})
    for path, operations in sitting_operations().items():
        spec.path(path=path, operations=operations)
    for path, operation in _reading().items():
        spec.path(path=path, operations={"get": operation})
    about_profiles = {**profile_operations(), **review_operations(), **compare_operations()}
    for name, form in LINES.items():
        spec.components.schema(name, schema=form)
    about_tables = {**mapping_operations(), **batch_operations()}
    about_more = {
        **about_tables,
        **logbook_operations(),
        **report_operations(),
        **record_operations(),
        **plan_operations(),
    }
    for path, operations in {**about_profiles, **about_more}.items():
        spec.path(path=path, operations=operations)
    derived: dict[str, Any] = spec.to_dict()
    return derived


def _component_name(schema: Any) -> str:
    form = schema if isinstance(schema, type) else type(schema)
    name = form.__name__.removesuffix("Form").removesuffix("Schema")
    return f"{name}Check" if issubclass(form, CheckForm) else name


def _strict2properties(self: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    """What a strict field says of itself, in place of what apispec makes of its base class."""
    if not isinstance(field, Strict):
        return {}
    keywords = field.keywords()
    if isinstance(field, MapOf):
        keywords["additionalProperties"] = self.field2property(field.inner)
    if isinstance(field, ProfileReference):
        keywords = {"anyOf": [keywords, self.field2property(Part(ProfileSchema, required=True))]}
    return _or_null(keywords) if field.allow_none else keywords


def _or_null(keywords: dict[str, Any]) -> dict[str, Any]:
    if "anyOf" in keywords:
        return {**keywords, "anyOf": [*keywords["anyOf"], {"type": "null"}]}
    if "type" not in keywords:
        return keywords
    nullable = {**keywords, "type": [keywords["type"], "null"]}
    if "const" in nullable:
        nullable["enum"] = [nullable.pop("const"), None]
    elif "enum" in nullable:
        nullable["enum"] = [*nullable["enum"], None]
    return nullable


def _judging(kind: Kind) -> dict[str, Any]:
    name = _component_name(kind.form)
    return {
        "operationId": f"check_{kind.slug.replace('-', '_')}",
        "tags": ["checks"],
        "summary": f"{kind.title} check",
        "description": kind.about,
        "security": SECURITY,
        "parameters": [
            {
                "name": "detail",
                "in": "query",
                "description": "`short` leaves out the budgets and `results.reveals`.",
                "schema": {"type": "string", "enum": ["full", "short"], "default": "full"},
            },
            {
                "name": "explain",
                "in": "query",
                "description": "`true` adds `explanation`: every number of the answer reckoned by "
                "hand, with the formula, its figures put in, and where these come from. Not with "
                "`detail=short`. Not in batches.",
                "schema": {"type": "string", "enum": ["true", "false"], "default": "false"},
            },
            LANGUAGE_PARAMETER,
            {
                "name": "X-Request-Id",
                "in": "header",
                "description": "Comes back in the answer's header and stands in the log.",
                "schema": {"type": "string"},
            },
        ],
        "requestBody": {
            "required": True,
            "content": {
                JSON: {
                    "schema": type(kind.form),
                    "examples": {name: {"value": kind.example["request"]}},
                }
            },
        },
        "responses": {
            "200": paged(
                response(
                    "The verdict, also when it is a fail; as `text/html` the report of the check.",
                    AnswerForm,
                    {name: kind.example["answer"]},
                )
            ),
            **problems((*_JUDGING, *GUARDED, *EVERYWHERE)),
        },
    }


def _reading() -> dict[str, dict[str, Any]]:
    return {
        "/v1/checks": get("list_checks", "checks", "The kinds of check", KindsForm, guarded=True),
        "/v1/info": get("info", "service", "Version and built-in profile", InfoForm, guarded=True),
        "/livez": get("live", "service", "Whether the process lives", StatusForm),
        "/readyz": get("ready", "service", "Whether it takes requests", ReadyForm),
        "/openapi.json": {
            **get("openapi", "service", "This document", None),
            "parameters": [{"name": "If-None-Match", "in": "header", "schema": {"type": "string"}}],
            "responses": {
                "200": {
                    "description": "The document, with its ETag.",
                    "content": {JSON: {"schema": {"type": "object"}}},
                },
                "304": {"description": "Unchanged."},
                **problems(EVERYWHERE),
            },
        },
        "/docs": {
            **get("docs", "service", "This document as a page for people", None),
            "parameters": [{"name": "If-None-Match", "in": "header", "schema": {"type": "string"}}],
            "responses": {
                "200": {"description": "The page, with its ETag.", "content": _PAGE},
                "304": {"description": "Unchanged."},
                **problems(EVERYWHERE),
            },
        },
        "/problems/{slug}": {
            **get("problem", "service", "Page about a kind of problem", None),
            "parameters": [
                {
                    "name": "slug",
                    "in": "path",
                    "required": True,
                    "schema": {"type": "string", "examples": list(PROBLEMS)},
                }
            ],
            "responses": {
                "200": {
                    "description": "What it means and what to do.",
                    "content": _PAGE,
                },
                **problems(("not-found", *EVERYWHERE)),
            },
        },
    }


if __name__ == "__main__":
    sys.stdout.buffer.write(document_bytes())
