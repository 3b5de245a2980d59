"""What the columns of a table do to its checks, for judging many rows by what they have in common.

Of a simulated loss only the readings, the day, and the circumstances decide. Labels, the person and
the air do not: the loss is a ratio in which the buoyancy of the weights is not even budgeted.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.metrology.quantity import QuantityError
from weighworthy_service.tables.cells import Cell, CellFault
from weighworthy_service.tables.field_readers import FieldReader
from weighworthy_service.tables.numbers import Marks, quantity_values
from weighworthy_service.tables.plan import Plan
from weighworthy_service.wire.coded import Path
from weighworthy_service.wire.fields import Quantity, Text
from weighworthy_service.wire.request import MAX_LABELS

READINGS: Final[tuple[Path, ...]] = (
    ("initial", "indication"),
    ("final", "indication"),
    ("displayed_loss",),
)
_IDLE: Final = ("labels", "performed_by", "environment")
_KEPT: Final = 4096

ReadingOf = Callable[[Sequence[Cell]], Decimal | None]


@dataclass(frozen=True, slots=True, eq=False)
class Roles:
    """Which columns of an ungathered table of one kind decide what.

    Attributes:
        readings: initial and final indication in g and displayed loss in %, each None where no
            column holds it; they raise `CellFault`.
        reading_places: indexes of their columns.
        moment: gives the time of the check, RFC 3339, of which only the local date decides; None
            where no column holds it. Raises `CellFault`.
        others: indexes of the columns on which everything else rests, in rising order.
        idle: tests of cells that decide nothing, with their index: whether a cell is surely right,
            so that nobody need look at it; False asks for the long way.
    """

    readings: tuple[ReadingOf | None, ReadingOf | None, ReadingOf | None]
    reading_places: tuple[int, ...]
    moment: Callable[[Sequence[Cell]], str | None] | None
    others: tuple[int, ...]
    idle: tuple[tuple[int, Callable[[Cell], bool]], ...]


def roles_of(plan: Plan, marks: Marks) -> Roles | None:
    """None where rows must be read one by one: they are gathered, of several kinds, of a kind that
    cannot be prepared, or one column says several things."""
    single = plan.single
    if single is None or single.kind.slug != "simulated-loss":
        return None
    readers = {reader.field.path: reader for reader in single.readers}
    labels = {path[1] for path in readers if path[0] == "labels"}
    if len(labels | set(single.constants.get("labels", ()))) > MAX_LABELS:
        return None
    readings, moment, idle, others = [], None, [], set[int]()
    for path in READINGS:
        reader = readers.pop(path, None)
        values = None if reader is None else _reading(reader, plan, marks)
        if reader is not None and values is None:
            return None
        readings.append(values)
    taken = [reader.places[0] for reader in single.readers if reader.field.path in READINGS]
    places = list(taken)
    for path, reader in readers.items():
        if path == ("performed_at",) and not _is_mapped(reader, plan):
            moment = reader.read
            taken += reader.places
        elif path[0] in _IDLE and not _is_mapped(reader, plan):
            idle.append((reader.places[0], _test(reader)))
        else:
            others |= set(reader.places)
    if len(set(taken)) < len(taken) or others & set(taken):
        return None
    first, second, displayed = readings
    return Roles(
        (first, second, displayed), tuple(places), moment, tuple(sorted(others)), tuple(idle)
    )


def _is_mapped(reader: FieldReader, plan: Plan) -> bool:
    return plan.mapping.columns[reader.name].values is not None


def _reading(reader: FieldReader, plan: Plan, marks: Marks) -> ReadingOf | None:
    if _is_mapped(reader, plan):
        return None
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
            value = reader.read(row)
            if value is not None:
                form.deserialize(value)
        except (CellFault, QuantityError, ValidationError):
            return False
        return True

    return is_right
