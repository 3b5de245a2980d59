"""What is wrong with a mapping that has the right form, before any table is looked at."""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.kind import Kind
from weighworthy_service.tables.column_flaws import column_flaws, value_flaws
from weighworthy_service.tables.header import name_key
from weighworthy_service.tables.mapping import SKIP, TableMapping
from weighworthy_service.tables.request_fields import (
    RequestField,
    UnknownField,
    find_field,
    required_fields,
    top_fields,
)
from weighworthy_service.tables.written import choices
from weighworthy_service.wire.coded import Path, nearest
from weighworthy_service.wire.containers import ListOf
from weighworthy_service.wire.fields import Count, PureNumber, Quantity


def mapping_flaws(mapping: TableMapping, time_zone: str | None) -> Iterator[Flaw]:
    """Every flaw, with paths from the root of the mapping."""
    if time_zone is not None and mapping.zone is None:
        yield Flaw(("time_zone",), "not-one-of", "no IANA time zone, like Europe/Berlin")
    fields = {kind.slug: fields_of(mapping, kind) for kind in mapping.kinds}
    for name, column in mapping.columns.items():
        found = [fields[slug][name] for slug in fields if name in fields[slug]]
        if not found:
            yield _unknown(mapping, name)
        else:
            for flaw in column_flaws(column, found[0]):
                yield Flaw(("columns", name, *flaw.path), flaw.code, flaw.detail)
    yield from _section_flaws(mapping)
    for kind in mapping.kinds:
        yield from _field_flaws(mapping, fields[kind.slug])
    yield from _constant_flaws(mapping, fields)
    yield from _instrument_flaws(mapping, fields)
    for kind in mapping.kinds:
        yield from _missing(mapping, kind, fields[kind.slug])
    yield from _gather_flaws(mapping, fields)


def fields_of(mapping: TableMapping, kind: Kind) -> dict[str, RequestField]:
    """The fields that a kind of check has, of those that the mapping names."""
    found = {}
    for name in mapping.columns:
        try:
            found[name] = find_field(kind, name)
        except UnknownField:
            continue
    return found


def number_columns(mapping: TableMapping) -> tuple[str, ...]:
    """The columns of numbers, by which the decimal mark of a table can be found."""
    order = mapping.gather.order if mapping.gather is not None else None
    names = [order] if order else []
    for kind in mapping.kinds:
        for name, field in fields_of(mapping, kind).items():
            column = mapping.columns[name]
            form = field.form.inner if isinstance(field.form, ListOf) else field.form
            if isinstance(form, Quantity | PureNumber | Count) and column.values is None:
                names += column.columns
    return tuple(dict.fromkeys(names))


def stated_at(document: Any, path: Path) -> Any:
    """The value at a path of a document; None where there is none."""
    for key in path:
        if isinstance(document, list):
            inside = isinstance(key, int) and key < len(document)
            document = document[int(key)] if inside else None
        else:
            document = document.get(key) if isinstance(document, Mapping) else None
    return document


def _unknown(mapping: TableMapping, name: str) -> Flaw:
    hint, kinds = "", ", ".join(kind.slug for kind in mapping.kinds)
    for kind in mapping.kinds:
        try:
            find_field(kind, name)
        except UnknownField as error:
            hint = hint or nearest(name, error.known)
    detail = f"a request of the check {kinds} has no field {name!r} that a column can fill{hint}"
    return Flaw(("columns", name), "unknown-field", detail)


def _section_flaws(mapping: TableMapping) -> Iterator[Flaw]:
    table, checks = mapping.table, mapping.check_column
    if table.decimal is not None and table.decimal == table.thousands:
        yield Flaw(("table", "thousands"), "contradiction", "this is the decimal mark")
    if checks is None:
        return
    if not checks.values:
        yield Flaw(("check", "values"), "too-few", "no text stands for a kind of check")
    try:
        choices({**checks.values, **dict.fromkeys(checks.skip, SKIP)})
    except ValueError as error:
        yield Flaw(("check", "skip" if checks.skip else "values"), "contradiction", str(error))


def _field_flaws(mapping: TableMapping, fields: Mapping[str, RequestField]) -> Iterator[Flaw]:
    """Two fields from one cell as it stands, or one field from two places."""
    sources: dict[str, str] = {}
    targets: dict[Path, str] = {}
    gathered = {field.gathers for field in fields.values() if field.gathers}
    for name, field in fields.items():
        other = targets.setdefault((*field.path, field.gathers is not None), name)
        if other != name:
            detail = f"this is the same field as {other!r}"
            yield Flaw(("columns", name), "contradiction", detail)
        if field.gathers is None and field.path[0] in gathered:
            detail = f"rows hold one entry of {field.path[0]} each, or all of them: not both"
            yield Flaw(("columns", name), "contradiction", detail)
        column = mapping.columns[name]
        if column.values is not None or field.path[0] == "labels":
            continue
        for key in {name_key(text) for text in column.columns}:
            other = sources.setdefault(key, name)
            if other != name:
                detail = f"the same column already fills {other!r}"
                yield Flaw(("columns", name), "column-twice", detail)
    if "instrument" in fields and "instrument.id" in fields:
        detail = "`instrument` already says which one it is"
        yield Flaw(("columns", "instrument.id"), "contradiction", detail)


def _constant_flaws(
    mapping: TableMapping, fields: Mapping[str, Mapping[str, RequestField]]
) -> Iterator[Flaw]:
    known = {name: form for kind in mapping.kinds for name, form in top_fields(kind).items()}
    filled = {field.path[0] for found in fields.values() for field in found.values()}
    gathered = {field.gathers for found in fields.values() for field in found.values()}
    for name, value in mapping.constants.items():
        if name not in known:
            hint = nearest(name, tuple(known))
            yield Flaw(("constants", name), "unknown-field", f"there is no such field{hint}")
        elif name in gathered:
            detail = "rows hold one entry each: state it in a column"
            yield Flaw(("constants", name), "contradiction", detail)
        else:
            yield from value_flaws(known[name], value, ("constants", name), filled=name in filled)


def _instrument_flaws(
    mapping: TableMapping, fields: Mapping[str, Mapping[str, RequestField]]
) -> Iterator[Flaw]:
    named = {name for found in fields.values() for name in found}
    if "instrument" in named and not mapping.instruments:
        detail = "the column names an instrument, but there is none in `instruments`"
        yield Flaw(("columns", "instrument"), "instruments-missing", detail)
    folded = Counter(name.strip().casefold() for name in mapping.instruments)
    for name, entry in mapping.instruments.items():
        if folded[name.strip().casefold()] > 1:
            detail = "another name differs only in case"
            yield Flaw(("instruments", name), "contradiction", detail)
        form = top_fields(mapping.kinds[0])["instrument"] if mapping.kinds else None
        filled = any(text.startswith("instrument.") for text in named)
        whole = instrument_of(mapping, name, entry)
        if form is not None:
            yield from value_flaws(form, whole, ("instruments", name), filled=filled)


def instrument_of(mapping: TableMapping, name: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """One of the instruments, with what the constants say of all of them."""
    common = mapping.constants.get("instrument")
    return {**(common if isinstance(common, dict) else {}), "id": name, **entry}


def _missing(
    mapping: TableMapping, kind: Kind, fields: Mapping[str, RequestField]
) -> Iterator[Flaw]:
    """Fields that every request must have, and that nothing fills."""
    filled = {tuple(key for key in f.path if isinstance(key, str)) for f in fields.values()}
    for path in required_fields(kind):
        by_column = any(path == other[: len(path)] or other == path[:1] for other in filled)
        listed = mapping.constants.get(str(path[0]))
        by_constant = (
            bool(listed)
            if isinstance(listed, list)
            else stated_at(mapping.constants, path) is not None
        )
        if not by_column and not by_constant:
            name = ".".join(map(str, path))
            detail = f"a {kind.slug} check needs {name}: state a column or a constant"
            yield Flaw(("columns",), "field-missing", detail)


def _gather_flaws(
    mapping: TableMapping, fields: Mapping[str, Mapping[str, RequestField]]
) -> Iterator[Flaw]:
    gathered = [
        (name, field.gathers)
        for found in fields.values()
        for name, field in found.items()
        if field.gathers
    ]
    if mapping.gather is None:
        for name, listed in gathered:
            detail = (
                f"each row holds one entry of {listed}: state in `gather` which rows belong "
                f"together, or a position, like {listed}.0.{name.partition('.')[2]}"
            )
            yield Flaw(("columns", name), "gather-missing", detail)
    elif not gathered:
        detail = "no column fills an entry of a list: every row is a check of its own"
        yield Flaw(("gather",), "contradiction", detail)
