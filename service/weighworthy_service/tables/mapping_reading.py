"""From the text of a mapping document to the mapping that it means."""

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service import json_text
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.json_document import without_nulls
from weighworthy_service.json_text import MalformedJsonError
from weighworthy_service.profiles.refusal import from_flaws
from weighworthy_service.profiles.source import Source, TomlUnreadable, read_toml
from weighworthy_service.tables.mapping import (
    CheckColumn,
    Column,
    Gather,
    MappingNotUsable,
    TableMapping,
)
from weighworthy_service.tables.mapping_flaws import mapping_flaws
from weighworthy_service.tables.mapping_form import AS_IS, MappingForm
from weighworthy_service.tables.table_section import TableSection
from weighworthy_service.time_zones import zone_of
from weighworthy_service.wire.coded import FieldError, field_errors

MAX_TEXT: Final = 1024 * 1024
_FORM: Final = MappingForm()
_QUOTES: Final = 'write the field in quotes, like "initial.indication" = "Start weight"'


def parse_mapping(raw: bytes) -> TableMapping:
    """A mapping from the bytes of a JSON document, which begins with `{`, or of a TOML one.

    Raises:
        MappingNotUsable: also when it is neither.
    """
    if len(raw) > MAX_TEXT:
        fault = FieldError("", "too-large", f"a mapping has at most {MAX_TEXT} bytes")
        raise MappingNotUsable([fault])
    try:
        if raw.lstrip()[:1] == b"{":
            return read_mapping(Source(json_text.parse(raw)))
        text = raw.decode()
        return read_mapping(Source(read_toml(text), text))
    except MalformedJsonError as error:
        fault = FieldError("", "malformed-json", str(error))
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        fault = FieldError("", "malformed-toml", f"line {line}: byte {error.start} is not UTF-8")
    except TomlUnreadable as error:
        fault = FieldError("", "malformed-toml", str(error))
    raise MappingNotUsable([fault])


def read_mapping(source: Source) -> TableMapping:
    """A mapping from its document.

    Raises:
        MappingNotUsable: it has not the form of a mapping, or contradicts itself, or no request can
            come of it; all faults at once.
    """
    try:
        stated = _FORM.load(source.document)
    except ValidationError as error:
        errors = [_quoted(fault, source) for fault in field_errors(error.messages)]
        raise MappingNotUsable(source.with_lines(errors)) from None
    made = _mapping(stated, source)
    if errors := from_flaws(mapping_flaws(made, stated.get("time_zone"))):
        raise MappingNotUsable(source.with_lines(errors))
    return made


def _quoted(error: FieldError, source: Source) -> FieldError:
    """A field that TOML has split at its dots gets the advice that it needs."""
    parts = error.pointer.split("/")
    columns = source.document.get("columns")
    if error.code != "unknown-field" or len(parts) < 4 or parts[1] != "columns":
        return error
    if isinstance(columns, Mapping) and isinstance(columns.get(parts[2]), dict):
        return FieldError(error.pointer, error.code, f"{error.detail}; {_QUOTES}")
    return error


def _mapping(stated: Mapping[str, Any], source: Source) -> TableMapping:
    check = stated["check"]
    told = {check["kind"]} if "kind" in check else set(check["values"].values())
    return TableMapping(
        id=stated.get("id"),
        title=stated.get("title"),
        kinds=tuple(kind for kind in KINDS if kind.slug in told),
        check_column=None if "kind" in check else CheckColumn(**check),
        # None also for what is no time zone, which is told as a flaw.
        zone=zone_of(stated.get("time_zone") or ""),
        table=stated.get("table") or TableSection(),
        columns={name: _column(column) for name, column in stated["columns"].items()},
        constants=without_nulls(stated.get("constants") or {}),
        instruments={
            name: without_nulls(entry) for name, entry in (stated.get("instruments") or {}).items()
        },
        gather=_gather(stated.get("gather")),
        source=source,
    )


def _column(stated: Mapping[str, Any]) -> Column:
    rest = {name: value for name, value in stated.items() if name not in ("column", "columns")}
    one = (stated["column"],) if "column" in stated else ()
    return Column((*one, *stated.get("columns", ())), **rest)


def _gather(stated: Mapping[str, Any] | None) -> Gather | None:
    if stated is None:
        return None
    order = stated.get("order", AS_IS)
    return Gather(**{**stated, "order": None if order == AS_IS else order})
