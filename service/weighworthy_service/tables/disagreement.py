"""Names that a mapping has and its table has not, told at every place of the mapping that has them.

A mapping and a table that do not fit each other are no fault of the file: it was read well enough
to see what its columns are called. What a file cannot be read by stays a fault of the table.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from weighworthy_service.json_document import pointer
from weighworthy_service.tables.cells import TableFault, TableNotUsable
from weighworthy_service.tables.listed import listed
from weighworthy_service.tables.mapping import TableMapping
from weighworthy_service.wire.coded import FieldError, Path

# Enough for the forty columns of a wide export.
_MOST_COLUMNS: Final = 50


def mapping_errors(error: TableNotUsable, mapping: TableMapping) -> list[FieldError]:
    """The faults of the mapping, with its lines if it has any; none where it is the file's."""
    faults = [fault for fault in error.errors if fault.there is not None]
    found: list[FieldError] = []
    for fault in faults:
        detail = _said(fault, first=fault is faults[0])
        found += [
            FieldError(pointer(*path), fault.code, detail)
            for path in _places(mapping.source.document, fault)
        ]
    return mapping.source.with_lines(found)


def _said(fault: TableFault, *, first: bool) -> str:
    sheet = "" if fault.sheet is None else f"sheet {fault.sheet!r}: "
    there = [name for name in fault.there or () if name]
    columns = f"; the columns are {listed(there, _MOST_COLUMNS)}" if first and there else ""
    return f"{sheet}{fault.detail}{columns}"


def _places(document: Mapping[str, Any], fault: TableFault) -> list[Path]:
    if fault.code == "sheet-not-found":
        return [("table", "sheet")]
    if fault.column is None:
        return [("columns",)]
    return [path for path, name in _named(document) if name == fault.column]


def _named(document: Mapping[str, Any]) -> Iterator[tuple[Path, Any]]:
    """Every place of a mapping document that names a column, and the name."""
    for field, entry in document["columns"].items():
        yield from _entry(("columns", field), entry)
    if isinstance(document["check"], Mapping):
        yield from _entry(("check",), document["check"])
    skip = (document.get("table") or {}).get("skip") or {}
    yield ("table", "skip", "column"), skip.get("column")
    gather = document.get("gather") or {}
    yield from _texts(("gather", "by"), gather.get("by"))
    yield ("gather", "order"), gather.get("order")


def _entry(path: Path, entry: Any) -> Iterator[tuple[Path, Any]]:
    if not isinstance(entry, Mapping):
        yield path, entry
        return
    yield (*path, "column"), entry.get("column")
    yield from _texts((*path, "columns"), entry.get("columns"))


def _texts(path: Path, stated: str | Sequence[str] | None) -> Iterator[tuple[Path, Any]]:
    if isinstance(stated, str):
        yield path, stated
    else:
        yield from (((*path, place), name) for place, name in enumerate(stated or ()))
