"""The JSON Schema of a profile, for editors that complete and check TOML or JSON files.

Derived from the very form that reads profiles, like the OpenAPI document:
`python -m weighworthy_service.web.profile_schema > openapi/profile.schema.json` writes it anew.
"""

import json
import sys
from typing import Any

from weighworthy_service.checks.registry import KINDS
from weighworthy_service.web.document import document

_PREFIX = "#/components/schemas/"
_ABOVE_ZERO = "(?=[0.]*[1-9])"


def profile_schema() -> dict[str, Any]:
    """The schema (JSON Schema 2020-12), complete in itself."""
    known = document()["components"]["schemas"]
    reached = {"Profile"}
    waiting = ["Profile"]
    while waiting:
        new = set(_references(known[waiting.pop()])) - reached
        reached |= new
        waiting += new
    definitions = {name: _moved(known[name]) for name in sorted(reached)}
    _name_limits(definitions["Rule"]["properties"]["limits"])
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:weighworthy:profile:1",
        "title": "Tolerance profile",
        "description": "Limits and rules by which checks of balances are judged. What contradicts "
        "itself beyond this form is told by a review.",
        "$ref": "#/$defs/Profile",
        "$defs": definitions,
    }


def schema_bytes() -> bytes:
    """The schema as it is kept in the repository."""
    return json.dumps(profile_schema(), indent=2, ensure_ascii=False).encode() + b"\n"


def _name_limits(limits: dict[str, Any]) -> None:
    """Name the criteria, so that an editor completes them and marks a misspelt one."""
    limit = limits.pop("additionalProperties")
    limits["additionalProperties"] = False
    limits["properties"] = {
        criterion.name: {**limit, "description": f"{kind.title}, in {criterion.unit}."}
        for kind in KINDS
        for criterion in kind.criteria
    }


def _references(value: Any) -> list[str]:
    if isinstance(value, dict):
        found = [value["$ref"].removeprefix(_PREFIX)] if "$ref" in value else []
        return found + [name for member in value.values() for name in _references(member)]
    if isinstance(value, list):
        return [name for member in value for name in _references(member)]
    return []


def _moved(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _keyword(key, member) for key, member in value.items()}
    return [_moved(member) for member in value] if isinstance(value, list) else value


def _keyword(key: str, member: Any) -> Any:
    if key == "$ref":
        return f"#/$defs/{member.removeprefix(_PREFIX)}"
    if key == "pattern" and isinstance(member, str):
        # People read this file: a sign that the pattern forbids before need not be written.
        return member.replace("(?!-)-?", "").replace(f"{_ABOVE_ZERO}-?", _ABOVE_ZERO)
    return _moved(member)


if __name__ == "__main__":
    sys.stdout.buffer.write(schema_bytes())
