"""What the columns of a table do to its checks, for judging many rows by what they have in common.

Only the readings, the day, and the circumstances decide. Labels and the person do not, nor what a
kind of check says beside its evaluation.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.prepared import Reduction
from weighworthy_service.metrology.quantity import QuantityError
from weighworthy_service.tables.cells import Cell, CellFault
from weighworthy_service.tables.field_readers import FieldReader
from weighworthy_service.tables.mapping_flaws import stated_at
from weighworthy_service.tables.numbers import Marks, quantity_values
from weighworthy_service.tables.plan import Plan
from weighworthy_service.tables.settling import Odd
from weighworthy_service.wire.fields import Quantity, Text
from weighworthy_service.wire.request import MAX_LABELS

_IDLE: Final = ("labels", "performed_by")
_KEPT: Final = 4096

Cells = Sequence[Cell]
ReadingOf = Callable[[Cells], int | None]


@dataclass(frozen=True, slots=True, eq=False)
class Roles:
    """Which columns of an ungathered table of one kind decide what.

    Attributes:
        readings: those of the kind, in base units over `QUANTA`, each None where no column holds
            it; they raise `CellFault`.
        reading_places: indexes of their columns.
        moment: gives the time of the check, RFC 3339, of which only the local date decides; None
            where no column holds it. Raises `CellFault`.
        others: indexes of the columns on which everything else rests, in rising order.
        reduced: give what is decided by cells of which nothing else counts; they raise `CellFault`.
        idle: tests of cells that decide nothing, with their index: whether a cell is surely right,
            so that nobody need look at it; False asks for the long way.
    """

    readings: tuple[ReadingOf | None, ...]
    reading_places: tuple[int, ...]
    moment: Callable[[Cells], str | None] | None
    others: tuple[int, ...]
    reduced: tuple[Callable[[Cells], Hashable], ...]
    idle: tuple[tuple[int, Callable[[Cell], bool]], ...]


def roles_of(plan: Plan, marks: Marks) -> Roles | None:
    """None where rows must be read one by one: they are gathered, of several kinds, of a kind that
    cannot be prepared, one column says several things, or the mapping itself states a reading,
    which stands in for an empty cell."""
    single = plan.single
    preparation = None if single is None else single.kind.preparation
    if single is None or preparation is None:
        return None
    readers = {reader.field.path: reader for reader in single.readers}
    labels = {path[1] for path in readers if path[0] == "labels"}
    if len(labels | set(single.constants.get("labels", ()))) > MAX_LABELS:
        return None
    if any(stated_at(single.constants, path) is not None for path in preparation.readings):
        return None
    of_readings = [readers.pop(path, None) for path in preparation.readings]
    if any(reader is not None and _is_mapped(reader, plan) for reader in of_readings):
        return None
    places = _places(of_readings)
    taken, reduced = list(places), []
    for reduction in preparation.reductions:
        if all(stated_at(single.constants, path) is None for path in reduction.paths):
            found = [readers.pop(path, None) for path in reduction.paths]
            taken += _places(found)
            reduced += [_reduced(reduction, found)] if any(found) else []
    moment, idle, others = None, [], set[int]()
    for place, reader in readers.items():
        if place == ("performed_at",) and not _is_mapped(reader, plan):
            moment = reader.read
            taken += reader.places
        elif place[0] in (*_IDLE, *preparation.idle) and not _is_mapped(reader, plan):
            idle.append((reader.places[0], _test(reader)))
        else:
            others |= set(reader.places)
    if len(set(taken)) < len(taken) or others & set(taken):
        return None
    return Roles(
        tuple(None if reader is None else _reading(reader, marks) for reader in of_readings),
        places,
        moment,
        tuple(sorted(others)),
        tuple(reduced),
        tuple(idle),
    )


def _places(readers: Sequence[FieldReader | None]) -> tuple[int, ...]:
    return tuple(place for reader in readers if reader is not None for place in reader.places)


def _reduced(
    reduction: Reduction, readers: Sequence[FieldReader | None]
) -> Callable[[Cells], Hashable]:
    """What is decided by cells; it raises `CellFault`, and `Odd` where a value is refused."""
    places = _places(readers)

    @lru_cache(maxsize=_KEPT)
    def decided(cells: tuple[Cell, ...]) -> Hashable:
        row: list[Cell] = [None] * (max(places) + 1)
        for place, cell in zip(places, cells, strict=True):
            row[place] = cell
        try:
            return reduction.decides(*[reader and _value(reader, row) for reader in readers])
        except (QuantityError, ValidationError):
            raise Odd from None

    return lambda cells: decided(tuple([cells[place] for place in places]))


def _value(reader: FieldReader, row: Cells) -> Any:
    """What a request makes of the cells of a field. Raises: CellFault, and as its form does."""
    value = reader.read(row)
    return None if value is None else reader.field.form.deserialize(value)


def _is_mapped(reader: FieldReader, plan: Plan) -> bool:
    return plan.mapping.columns[reader.name].values is not None


def _reading(reader: FieldReader, marks: Marks) -> ReadingOf:
    (place,) = reader.places
    form: Quantity = reader.field.form
    read = quantity_values(form.dimension, reader.unit, marks, reader.decimals)
    return lambda cells: read(cells[place])


def _test(reader: FieldReader) -> Callable[[Cell], bool]:
    form, (place,) = reader.field.form, reader.places
    if isinstance(form, Text):
        longest = form.maximum
        return lambda cell: cell.__class__ is str and len(cell) <= longest

    @lru_cache(maxsize=_KEPT)
    def is_right(cell: Cell) -> bool:
        row: list[Any] = [None] * place + [cell]
        try:
            _value(reader, row)
        except (CellFault, QuantityError, ValidationError):
            return False
        return True

    return is_right
