"""The JSON Schema of a mapping, for editors that complete and check TOML or JSON files.

Derived from the very forms that read mappings and requests:
`python -m weighworthy_service.web.mapping_schema > openapi/mapping.schema.json` writes it anew.
"""

import json
import re
import sys
from typing import Any

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.tables.mapping_form import MappingForm, published
from weighworthy_service.tables.request_fields import ANY_NAME, field_names, top_fields
from weighworthy_service.wire.containers import Part
from weighworthy_service.wire.request import InstrumentForm, ProfileReference


def mapping_schema() -> dict[str, Any]:
    """The schema (JSON Schema 2020-12), complete in itself."""
    schema = published(Part(MappingForm, required=True))
    members = schema["properties"]
    members["columns"] |= {"propertyNames": {"anyOf": [*_fields()]}}
    members["constants"] |= {"properties": _constants(), "additionalProperties": False}
    # What all instruments have in common may stand in the constants.
    members["instruments"]["additionalProperties"] = published(Part(InstrumentForm), partly=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:weighworthy:mapping:1",
        "title": "Mapping of a table",
        "description": "Which columns of a table make which fields of a check request. What "
        "contradicts itself beyond this form is told when the mapping is used.",
        **schema,
    }


def schema_bytes() -> bytes:
    """The schema as it is kept in the repository."""
    return json.dumps(mapping_schema(), indent=2, ensure_ascii=False).encode() + b"\n"


def _fields() -> list[dict[str, Any]]:
    """The names of fields: those that can be listed, and patterns for the others."""
    names = dict.fromkeys(name for kind in KINDS for name in field_names(kind))
    listed = [name for name in names if ANY_NAME not in name]
    lists = dict.fromkeys(
        name for kind in KINDS for name, form in top_fields(kind).items() if _holds_objects(form)
    )
    patterns = [
        f"^{re.escape(name).replace(re.escape(ANY_NAME), '.+')}$"
        for name in names
        if ANY_NAME in name
    ]
    for name in lists:
        below = [entry.removeprefix(f"{name}.") for entry in listed if entry.startswith(f"{name}.")]
        patterns.append(f"^{name}\\.[0-9]{{1,4}}\\.({'|'.join(below)})$")
    return [{"enum": listed}, *({"pattern": pattern} for pattern in patterns)]


def _holds_objects(form: Any) -> bool:
    return isinstance(getattr(form, "inner", None), Part) and "items" in published(form)


def _constants() -> dict[str, Any]:
    found: dict[str, Any] = {}
    for kind in KINDS:
        for name, form in top_fields(kind).items():
            schema = published(form, partly=True)
            if isinstance(form, ProfileReference):
                schema["anyOf"] = [form.keywords(), {"type": "object"}, {"type": "null"}]
                for keyword in form.keywords():
                    schema.pop(keyword, None)
            found.setdefault(name, schema)
    return found


if __name__ == "__main__":
    sys.stdout.buffer.write(schema_bytes())
