"""For each mapped field a function that reads it from the cells of a row, made once for a table."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.quantity import UNITS
from weighworthy_service.tables.cells import Cell, CellFault, Row, is_empty, shown
from weighworthy_service.tables.column_flaws import INSTRUMENT
from weighworthy_service.tables.header import unit_in_header
from weighworthy_service.tables.mapping import Column
from weighworthy_service.tables.mapping_form import LONGEST_NAME
from weighworthy_service.tables.numbers import Marks, counts, number_texts, quantity_texts
from weighworthy_service.tables.outcome import Where
from weighworthy_service.tables.request_fields import RequestField
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.times import days, moments
from weighworthy_service.tables.written import choices, flags, lists, texts, written
from weighworthy_service.wire.coded import nearest
from weighworthy_service.wire.containers import ListOf
from weighworthy_service.wire.fields import Count, Date, Flag, Instant, OneOf, PureNumber, Quantity

# What the cells of a row say of a field, in the form of a request; None: nothing.
Read = Callable[[Sequence[Cell]], Any]
Instruments = Mapping[str, Mapping[str, Any]]


class ColumnUnusable(ValueError):  # noqa: N818  the name says what is wrong
    """The header contradicts what the mapping says of a column; the flaw's path is below that."""

    def __init__(self, flaw: Flaw) -> None:
        super().__init__(flaw.detail)
        self.flaw = flaw


@dataclass(frozen=True, slots=True, eq=False)
class FieldReader:
    """A field with the indexes and names of its columns. `pointer` has no positions of rows."""

    name: str
    field: RequestField
    places: tuple[int, ...]
    columns: tuple[str, ...]
    read: Read
    pointer: str
    unit: str | None
    decimals: int | None

    def where(self, row: Row) -> Where:
        """The cell of a row that the field is read from; of several, all that are not empty."""
        sheet, number, cells = row
        parts = [shown(cells[place]) for place in self.places]
        text = " ".join(part for part in parts if part)
        return Where(sheet, number, " + ".join(self.columns), text)

    def is_empty(self, row: Row) -> bool:
        """Whether nothing is written in the cells."""
        return all(is_empty(row[2][place]) for place in self.places)


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What is the same for all fields: the table, its time zone, the instruments by name."""

    table: Table
    zone: ZoneInfo | None
    instruments: Instruments

    @property
    def marks(self) -> Marks:
        """How the numbers of the table are written."""
        return self.table.marks


def field_reader(name: str, field: RequestField, column: Column, setting: Setting) -> FieldReader:
    """The reader of a field from a table.

    Raises:
        ColumnUnusable: the unit of the header contradicts the mapping or the field.
    """
    table = setting.table
    places = tuple(table.columns[text] for text in column.columns)
    unit = None
    if isinstance(field.form, Quantity) and column.values is None:
        unit = _unit(column, field.form, table.header[places[0]])
        column = replace(column, unit=unit)
    return FieldReader(
        name=name,
        field=field,
        places=places,
        columns=tuple(table.header[place] or f"#{place + 1}" for place in places),
        read=_from_row(places, field, column, setting),
        pointer=pointer(*field.path),
        unit=unit,
        decimals=column.decimals,
    )


def _from_row(
    places: tuple[int, ...], field: RequestField, column: Column, setting: Setting
) -> Read:
    if len(places) == 1:
        (place,) = places
        if _measures(field.form) and column.values is None:
            several = _list_reader(field.form, place, column, setting)
            return lambda cells: several(cells[place])
        one = _from_cell(field, column, setting)
        return lambda cells: one(cells[place])
    if isinstance(field.form, Instant):
        date, time = places
        both = moments(column.format, setting.zone, setting.marks, columns=2)
        return lambda cells: both(cells[date], cells[time])
    parts = [_list_reader(field.form, place, column, setting) for place in places]
    return lambda cells: _joined(
        part(cells[place]) for part, place in zip(parts, places, strict=True)
    )


def _measures(form: Any) -> bool:
    """Whether the field is a list of quantities."""
    return isinstance(form, ListOf) and isinstance(form.inner, Quantity)


def _list_reader(
    form: ListOf, place: int, column: Column, setting: Setting
) -> Callable[[Cell], list[str] | None]:
    """What one column adds to a list: names, or quantities with the unit of that column."""
    missing = setting.marks.missing
    if not _measures(form):
        return lists(column.separator, missing)
    inner: Any = form.inner
    unit = _unit(column, inner, setting.table.header[place])
    one = quantity_texts(inner.dimension, unit, setting.marks, column.decimals)
    if column.separator is None:
        return lambda cell: None if (read := one(cell)) is None else [read]
    apart = lists(column.separator, missing)

    def several(cell: Cell) -> list[str] | None:
        # A workbook keeps one number as a number, and several as a text.
        if not isinstance(cell, str):
            return None if (read := one(cell)) is None else [read]
        return [text for part in apart(cell) or () if (text := one(part)) is not None] or None

    return several


def _joined(parts: Iterable[list[str] | None]) -> list[str] | None:
    return [name for part in parts if part is not None for name in part] or None


def _from_cell(field: RequestField, column: Column, setting: Setting) -> Callable[[Cell], Any]:
    form, marks = field.form, setting.marks
    missing = marks.missing
    read: Callable[[Cell], Any]
    if field.path == INSTRUMENT:
        read = _instruments(setting.instruments, missing)
    elif isinstance(form, Flag):
        read = flags(column.values, missing)
    elif column.values is not None:
        read = choices(column.values, missing)
    elif isinstance(form, Quantity):
        read = quantity_texts(form.dimension, column.unit, marks, column.decimals)
    elif isinstance(form, PureNumber):
        read = number_texts(marks, column.decimals)
    elif isinstance(form, Count):
        read = counts(marks)
    elif isinstance(form, Instant):
        read = moments(column.format, setting.zone, marks)
    elif isinstance(form, Date):
        read = days(column.format, marks)
    elif isinstance(form, ListOf):
        read = lists(column.separator, missing)
    elif isinstance(form, OneOf):
        read = choices({choice: choice for choice in form.choices}, missing)
    else:
        read = texts(missing)
    return read


def _instruments(known: Instruments, missing: frozenset[str]) -> Callable[[Cell], Any]:
    folded = {name.strip().casefold(): whole for name, whole in known.items()}
    names = tuple(known)

    def read(cell: Cell) -> Mapping[str, Any] | None:
        text = written(cell, missing)
        if text is None:
            return None
        found = folded.get(text.casefold())
        if found is None:
            hint = nearest(text, names)
            detail = f"{text[:64]!r} is none of the `instruments` of the mapping{hint}"
            raise CellFault("instrument-unknown", detail)
        return found

    return read


def _unit(column: Column, form: Quantity, title: str) -> str | None:
    """The unit of the numbers in a column: that of the mapping and the header must be the same."""
    title = title[-LONGEST_NAME:]  # a unit ends it, and no search should grow with what is before
    units, shown_unit = UNITS[form.dimension], unit_in_header(title)
    if shown_unit is None:
        return column.unit
    if shown_unit not in units:
        listed = ", ".join(units)
        detail = f"the header {title!r} has the unit {shown_unit!r}; this field takes {listed}"
        raise ColumnUnusable(Flaw((), "unit-differs", detail))
    if column.unit is not None and units[column.unit] != units[shown_unit]:
        detail = f"the header {title!r} has the unit {shown_unit!r}, not {column.unit!r}"
        raise ColumnUnusable(Flaw(("unit",), "unit-differs", detail))
    return column.unit or shown_unit
