"""The page about the interface, made from the OpenAPI document: no script, nothing from outside."""

import json
from functools import cache
from hashlib import sha256
from typing import Any, Final

from flask import Response, request
from markupsafe import Markup

from weighworthy_service.evidence.pages import policy, render
from weighworthy_service.web.addresses import Known, Views
from weighworthy_service.web.docs_page_words import limits_of, shape_of, type_of
from weighworthy_service.web.document import document_bytes
from weighworthy_service.wire.problem import PROBLEMS

_SCHEMAS: Final = "#/components/schemas/"


def views(_known: Known) -> Views:
    """The address of the page."""
    return {"docs": _docs}


def _docs() -> Response:
    body = docs_bytes()
    response = Response(body, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = policy("docs")
    response.headers["Cache-Control"] = "no-cache"
    response.set_etag(sha256(body).hexdigest())
    response.make_conditional(request)
    return response


@cache
def docs_bytes() -> bytes:
    """The page as it is served."""
    document = json.loads(document_bytes())
    schemas = document["components"]["schemas"]
    page = render(
        "docs",
        info=document["info"],
        about=_rich(document["info"]["description"]),
        tags=[
            {**tag, "operations": _operations(document, tag["name"])} for tag in document["tags"]
        ],
        shapes=[shape_of(name, schema) for name, schema in sorted(schemas.items())],
        problems=list(PROBLEMS.values()),
        rich=_rich,
    )
    return page.encode()


def _operations(document: dict[str, Any], tag: str) -> list[dict[str, Any]]:
    return [
        _operation(document, method, path, operation)
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
        if tag in operation["tags"]
    ]


def _operation(
    document: dict[str, Any], method: str, path: str, operation: dict[str, Any]
) -> dict[str, Any]:
    bodies = operation.get("requestBody", {}).get("content", {})
    return {
        "id": operation["operationId"],
        "method": method.upper(),
        "path": path,
        "summary": operation["summary"],
        "about": _rich(operation.get("description", "")),
        "guarded": "security" in operation,
        "parameters": [
            {
                **parameter,
                "type": type_of(parameter["schema"], answers=False),
                "limits": limits_of(parameter["schema"]),
            }
            for parameter in operation.get("parameters", [])
        ],
        "bodies": [_content(document, media, form) for media, form in bodies.items()],
        "responses": [
            {
                "status": status,
                "about": _rich(response["description"]),
                "contents": [
                    _content(document, media, form)
                    for media, form in response.get("content", {}).items()
                ],
            }
            for status, response in operation["responses"].items()
        ],
    }


def _content(document: dict[str, Any], media: str, form: dict[str, Any]) -> dict[str, Any]:
    schema = form.get("x-line-schema") or form["schema"]
    reference = schema.get("$ref", "")
    name = reference.removeprefix(_SCHEMAS)
    whole = document["components"]["schemas"][name] if name else schema
    examples = form.get("examples", {})
    return {
        "media": media,
        "type": type_of(schema, answers=True),
        "lines": "x-line-schema" in form,
        "shape": shape_of(name, whole) if "properties" in whole else None,
        "examples": {title: _shown(one["value"]) for title, one in examples.items()},
    }


def _shown(example: Any) -> str:
    if isinstance(example, str):
        return example
    return json.dumps(example, indent=2, ensure_ascii=False)


def _rich(text: str) -> Markup:
    """CommonMark with tables, as HTML; what looks like HTML in it stays text."""
    # Only this page needs it: a worker is ready sooner without.
    from markdown_it import MarkdownIt  # noqa: PLC0415

    if not text:
        return Markup("")
    made = MarkdownIt("commonmark", {"html": False}).enable("table")
    # The headings of a description stand below those of the page.
    tokens = made.parse(text)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = f"h{min(6, int(token.tag[1]) + 3)}"
    return Markup(made.renderer.render(tokens, made.options, {}))  # noqa: S704  escaped by it
