"""A mapping applied to one table: from the cells of a row to the request document that they make.

Everything that does not change from row to row is settled when the plan is made.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.checks.kind import Kind
from weighworthy_service.json_document import pointer
from weighworthy_service.profiles.refusal import from_flaws
from weighworthy_service.tables.cells import Cell, CellFault, Row, shown
from weighworthy_service.tables.field_readers import (
    ColumnUnusable,
    FieldReader,
    Setting,
    field_reader,
)
from weighworthy_service.tables.growing import Branch, branch_of, grown
from weighworthy_service.tables.mapping import SKIP, MappingNotUsable, TableMapping
from weighworthy_service.tables.mapping_flaws import (
    fields_of,
    instrument_of,
    stated_at,
)
from weighworthy_service.tables.numbers import Marks, number_texts
from weighworthy_service.tables.outcome import RowError, Where
from weighworthy_service.tables.request_fields import top_fields
from weighworthy_service.tables.table import Table
from weighworthy_service.tables.written import choices, written
from weighworthy_service.wire.coded import Path


class ReadRow(NamedTuple):
    """The request document that a row makes, and what is wrong with its cells.

    Of a gathered check, the document holds the one entry of the row. `values` are those of the
    plan's readers.
    """

    row: Row
    plan: "KindPlan"
    values: Sequence[Any]
    document: dict[str, Any]
    errors: tuple[RowError, ...]


@dataclass(frozen=True, slots=True, eq=False)
class KindPlan:
    """How rows become requests of one kind.

    `gathers` is the list of which a row is one entry, `moment` the position of the reader of the
    time of the check.
    """

    kind: Kind
    readers: tuple[FieldReader, ...]
    constants: Mapping[str, Any]
    branch: Branch
    gathers: str | None
    moment: int | None
    by_pointer: Mapping[str, FieldReader]

    def read(self, row: Row) -> ReadRow:
        """The document of a row. Pointers of errors in a gathered entry have the position 0."""
        cells = row[2]
        values: list[Any] = []
        errors: list[RowError] = []
        for reader in self.readers:
            try:
                values.append(reader.read(cells))
            except CellFault as fault:
                values.append(None)
                place = positioned(reader, self.gathers, 0)
                errors.append(RowError(place, fault.code, fault.detail, reader.where(row)))
        document = self.document(values)
        if self.gathers is not None:
            document[self.gathers] = [document.get(self.gathers, {})]
        return ReadRow(row, self, values, document, tuple(errors))

    def document(self, values: Sequence[Any]) -> dict[str, Any]:
        """The constants, and over them the values of the readers; None: nothing."""
        return grown(self.branch, self.constants, values)

    def where(self, rows: Sequence[Row], place: str) -> Where:
        """The cell that is behind a place of the request which these rows make.

        Where no cell is, as for a constant, only the row.
        """
        parts = place.split("/")
        if self.gathers is not None and parts[1:2] == [self.gathers] and parts[2:3]:
            position = int(parts[2]) if parts[2].isdecimal() else 0
            rows = rows[position : position + 1] or rows[:1]
            place = "/".join([*parts[:2], *parts[3:]])
        reader = self._reader_at(place)
        if reader is None:
            return Where(*rows[0][:2])
        row = next((row for row in rows if not reader.is_empty(row)), None)
        if row is None and stated_at(self.constants, reader.field.path) is not None:
            return Where(*rows[0][:2])
        return reader.where(row or rows[0])

    def _reader_at(self, place: str) -> FieldReader | None:
        above = place
        while above:
            if above in self.by_pointer:
                return self.by_pointer[above]
            above = above.rpartition("/")[0]
        below = [reader for reader in self.readers if reader.pointer.startswith(f"{place}/")]
        return below[0] if len(below) == 1 else None


def positioned(reader: FieldReader, gathers: str | None, position: int) -> str:
    """The pointer of a field; in the list that rows are gathered into, with its position."""
    if gathers is None or reader.field.gathers is None:
        return reader.pointer
    return pointer(gathers, position, *reader.field.path[1:])


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """How the rows of one table become requests.

    `check` reads the kind from a row, None where all are of one kind. `key` reads what rows of one
    check have in common, `order` the number that orders them.
    """

    mapping: TableMapping
    kinds: Mapping[str, KindPlan]
    check: "CellReader | None"
    key: "tuple[CellReader, ...]"
    order: "CellReader | None"

    @property
    def single(self) -> KindPlan | None:
        """The one way in which all rows are read, each as a check of its own; None: not so."""
        (first, *others) = self.kinds.values()
        return first if self.check is None and not others and first.gathers is None else None

    def kind_of(self, row: Row) -> KindPlan | None:
        """How the row is read; None: the mapping says that it is no check. Raises: CellFault."""
        if self.check is None:
            return next(iter(self.kinds.values()))
        slug = self.check.read(row[2])
        if slug is None:
            raise CellFault("required", "the cell that tells the kind of check is empty")
        return None if slug == SKIP else self.kinds[slug]


@dataclass(frozen=True, slots=True, eq=False)
class CellReader:
    """Reads one column that fills no field."""

    place: int
    column: str
    reads: Callable[[Cell], Any]

    def read(self, cells: Sequence[Cell]) -> Any:
        """What the cell says. Raises: CellFault."""
        return self.reads(cells[self.place])

    def where(self, row: Row) -> Where:
        """The cell of a row."""
        return Where(row[0], row[1], self.column, shown(row[2][self.place]))


def plan_of(mapping: TableMapping, table: Table) -> Plan:
    """The plan for a table that was opened with the columns that the mapping wants.

    Raises:
        MappingNotUsable: the header contradicts the mapping.
    """
    flaws: list[Flaw] = []
    kinds = {kind.slug: _kind_plan(mapping, kind, table, flaws) for kind in mapping.kinds}
    if flaws:
        # A column that several kinds share is wrong once.
        unique = dict.fromkeys(flaws)
        raise MappingNotUsable(mapping.source.with_lines(from_flaws(unique)))
    checks, gather, missing = mapping.check_column, mapping.gather, table.marks.missing

    def reader(column: str, reads: Callable[[Cell], Any]) -> CellReader:
        place = table.columns[column]
        return CellReader(place, table.header[place] or f"#{place + 1}", reads)

    return Plan(
        mapping=mapping,
        kinds=kinds,
        check=None
        if checks is None
        else reader(
            checks.column, choices({**checks.values, **dict.fromkeys(checks.skip, SKIP)}, missing)
        ),
        key=()
        if gather is None
        else tuple(reader(name, lambda cell: written(cell, missing)) for name in gather.by),
        order=reader(gather.order, _numbers(table.marks)) if gather and gather.order else None,
    )


def _numbers(marks: Marks) -> Callable[[Cell], Decimal | None]:
    text = number_texts(marks)

    def read(cell: Cell) -> Decimal | None:
        found = text(cell)
        return None if found is None else Decimal(found)

    return read


def _kind_plan(mapping: TableMapping, kind: Kind, table: Table, flaws: list[Flaw]) -> KindPlan:
    instruments = {
        name: instrument_of(mapping, name, entry) for name, entry in mapping.instruments.items()
    }
    setting = Setting(table, mapping.zone, instruments)
    readers = []
    for name, field in fields_of(mapping, kind).items():
        column = mapping.columns[name]
        try:
            readers.append(field_reader(name, field, column, setting))
        except ColumnUnusable as error:
            path: Path = ("columns", name, *error.flaw.path)
            flaws.append(Flaw(path, error.flaw.code, error.flaw.detail))
    own = top_fields(kind)
    paths = [reader.field.path for reader in readers]
    return KindPlan(
        kind=kind,
        readers=tuple(readers),
        constants={name: value for name, value in mapping.constants.items() if name in own},
        branch=branch_of(paths),
        gathers=next((reader.field.gathers for reader in readers if reader.field.gathers), None),
        moment=paths.index(("performed_at",)) if ("performed_at",) in paths else None,
        by_pointer={reader.pointer: reader for reader in readers},
    )
