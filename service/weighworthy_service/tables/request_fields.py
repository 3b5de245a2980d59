"""The fields that a check request has, read off the very forms that read requests.

A mapping names them with dots: `initial.indication`, `labels.batch`, `points.0.zero`. Where a list
of objects is named without a position, as in `points.zero`, each row of the table holds one entry.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from weighworthy_service.checks.kind import Kind
from weighworthy_service.wire.coded import Path
from weighworthy_service.wire.containers import ListOf, MapOf, Part

# Shown in place of a name of the laboratory's choice.
ANY_NAME: Final = "<name>"


class UnknownField(ValueError):  # noqa: N818  the name says what is wrong
    """A name that no field has; `known` are those that there are."""

    def __init__(self, known: tuple[str, ...]) -> None:
        super().__init__("there is no such field in the request")
        self.known = known


@dataclass(frozen=True, slots=True)
class RequestField:
    """A field that one cell, or a few, can fill.

    `path` is its place in the request; in a list that rows are gathered into, without position, and
    `gathers` is then the name of the list.
    """

    path: Path
    form: Any
    gathers: str | None = None


def find_field(kind: Kind, name: str) -> RequestField:
    """The field of a kind's request that a mapping names.

    Raises:
        UnknownField: there is none, or it is no field that cells can fill.
    """
    found = _find(kind.form, name.split("."), ())
    if found is None:
        raise UnknownField(field_names(kind))
    return found


def top_fields(kind: Kind) -> dict[str, Any]:
    """The members of a kind's request by name, but for the one that names the kind."""
    return {name: form for name, form in _members(kind.form) if name != "check"}


@cache
def field_names(kind: Kind) -> tuple[str, ...]:
    """The names of all fields that cells can fill, in the order of the documentation."""
    return tuple(_names(kind.form, ""))


def required_fields(kind: Kind) -> Iterator[Path]:
    """What every request of the kind must hold: paths, without positions in lists."""
    for name, field in top_fields(kind).items():
        if not field.required:
            continue
        inner = field.inner if isinstance(field, ListOf) else field
        below: list[Path] = [
            (name, key)
            for key, part in (_members(inner.schema) if isinstance(inner, Part) else ())
            if part.required
        ]
        yield from below or [(name,)]


def _members(form: Any) -> list[tuple[str, Any]]:
    return [(field.data_key or name, field) for name, field in form.load_fields.items()]


def _names(form: Any, under: str, *, listed: bool = False) -> Iterator[str]:
    """`listed`: of an entry of a list, in which a row has no place for another list."""
    for name, field in _members(form):
        full = f"{under}{name}"
        if full == "check":
            continue
        if isinstance(field, Part):
            if full == "instrument":
                yield full
            yield from _names(field.schema, f"{full}.", listed=listed)
        elif isinstance(field, ListOf) and isinstance(field.inner, Part):
            if not listed:
                yield from _names(field.inner.schema, f"{full}.", listed=True)
        elif isinstance(field, MapOf) and isinstance(field.inner, Part):
            yield from _names(field.inner.schema, f"{full}.{ANY_NAME}.", listed=listed)
        elif isinstance(field, MapOf):
            yield f"{full}.{ANY_NAME}"
        else:
            yield full


def _find(form: Any, parts: list[str], under: Path) -> RequestField | None:
    name, below = parts[0], parts[1:]
    field: Any = dict(_members(form)).get(name)
    path = (*under, name)
    if field is None or path == ("check",):
        return None
    if isinstance(field, Part):
        if path == ("instrument",) and not below:
            return RequestField(path, field)
        return _find(field.schema, below, path) if below else None
    if isinstance(field, ListOf) and isinstance(field.inner, Part):
        return _in_list(field, below, path)
    if isinstance(field, MapOf):
        return _in_map(field, below, path)
    return None if below else RequestField(path, field)


def _in_list(field: Any, below: list[str], path: Path) -> RequestField | None:
    if below and below[0].isascii() and below[0].isdigit() and len(below[0]) <= 4:
        position = int(below[0])
        inside = below[1:] and position < field.maximum
        return _find(field.inner.schema, below[1:], (*path, position)) if inside else None
    found = _find(field.inner.schema, below, path) if below else None
    if found is None or found.gathers is not None:
        return None
    return RequestField(found.path, found.form, gathers=str(path[-1]))


def _in_map(field: Any, below: list[str], path: Path) -> RequestField | None:
    # Names of the laboratory's choice may hold dots.
    if isinstance(field.inner, Part):
        name = ".".join(below[:-1])
        return _find(field.inner.schema, below[-1:], (*path, name)) if name else None
    name = ".".join(below)
    return RequestField((*path, name), field.inner) if name else None
