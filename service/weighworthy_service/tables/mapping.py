"""What a mapping document says of a table."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final
from zoneinfo import ZoneInfo

from weighworthy_service.checks.kind import Kind
from weighworthy_service.profiles.source import Source
from weighworthy_service.tables.mapping_form import WITHIN
from weighworthy_service.tables.table_section import TableSection
from weighworthy_service.wire.coded import FieldError

# What a text of the column that tells the kind stands for where the row is no check.
SKIP: Final = ""


class MappingNotUsable(ValueError):  # noqa: N818  the name says what is wrong, as the problem does
    """`errors` has every fault found, with pointers into the mapping, and its lines if it has."""

    def __init__(self, errors: Iterable[FieldError]) -> None:
        self.errors = tuple(errors)
        super().__init__("; ".join(f"{e.pointer}: {e.detail}" for e in self.errors))


@dataclass(frozen=True, slots=True)
class Column:
    """Where a field comes from: names of columns, and how their cells are read."""

    columns: tuple[str, ...]
    unit: str | None = None
    decimals: int | None = None
    format: tuple[str, ...] = ()
    separator: str | None = None
    values: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class CheckColumn:
    """The column that tells the kind of check; rows with a text of `skip` are no checks."""

    column: str
    values: Mapping[str, str]
    skip: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Gather:
    """Which rows make one check; `order` names a column of numbers, None: as they stand."""

    by: tuple[str, ...]
    order: str | None = None
    within: int = WITHIN
    complete: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TableMapping:
    """A mapping that has the right form and no contradictions in itself.

    `columns` by the names of request fields; `source` is what it was read from.
    """

    id: str | None
    title: str | None
    kinds: tuple[Kind, ...]
    check_column: CheckColumn | None
    zone: ZoneInfo | None
    table: TableSection
    columns: Mapping[str, Column]
    constants: Mapping[str, Any]
    instruments: Mapping[str, Mapping[str, Any]]
    gather: Gather | None
    source: Source = field(repr=False)

    @property
    def wanted(self) -> tuple[str, ...]:
        """The columns that the table must have, each once."""
        names = [name for column in self.columns.values() for name in column.columns]
        if self.check_column is not None:
            names.append(self.check_column.column)
        if self.gather is not None:
            names += self.gather.by
            names += [self.gather.order] if self.gather.order else []
        if self.table.skip is not None:
            names.append(self.table.skip.column)
        return tuple(dict.fromkeys(names))
