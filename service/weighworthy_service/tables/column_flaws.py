"""What is wrong with one column of a mapping, or one value, for the field of the request."""

from collections import Counter
from collections.abc import Iterator
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.flaws import Flaw
from weighworthy_service.json_document import pointer_parts
from weighworthy_service.metrology.instrument import Instrument
from weighworthy_service.metrology.quantity import UNITS
from weighworthy_service.metrology.weights import by_name
from weighworthy_service.tables.formats import EXCEL_EPOCHS, compiled, date_and_time
from weighworthy_service.tables.header import name_key
from weighworthy_service.tables.mapping import Column
from weighworthy_service.tables.request_fields import RequestField
from weighworthy_service.tables.written import choices
from weighworthy_service.wire.coded import Path, field_errors
from weighworthy_service.wire.containers import ListOf
from weighworthy_service.wire.fields import Date, Instant, PureNumber, Quantity

INSTRUMENT: Final = ("instrument",)


def column_flaws(column: Column, field: RequestField) -> Iterator[Flaw]:
    """What is wrong with a column for the field it fills; paths from the column."""
    form = field.form
    several = isinstance(form, ListOf | Instant)
    if not column.columns:
        yield Flaw((), "required", "a column is needed, or several in columns")
    elif len(column.columns) > 1 and not several:
        yield Flaw((), "not-for-field", "one column fills this field: state column alone")
    elif len(column.columns) > 2 and isinstance(form, Instant):
        yield Flaw(("columns",), "too-many", "a time stands in one column, or in two")
    keys = Counter(name_key(name) for name in column.columns)
    if any(times > 1 for times in keys.values()):
        yield Flaw(("columns",), "column-twice", "the same column is named twice")
    measure: Any = form.inner if isinstance(form, ListOf) else form
    number = isinstance(measure, Quantity)
    takes = {
        "unit": number,
        "decimals": number or isinstance(form, PureNumber),
        "format": isinstance(form, Instant | Date),
        "separator": isinstance(form, ListOf),
        "values": field.path != INSTRUMENT,
    }
    for name, taken in takes.items():
        if not taken and getattr(column, name) not in (None, ()):
            yield Flaw((name,), "not-for-field", f"this field has no use for {name}")
    if number and column.unit is not None and column.unit not in UNITS[measure.dimension]:
        listed = ", ".join(UNITS[measure.dimension])
        detail = f"the unit {column.unit!r} is not taken here: {listed}"
        yield Flaw(("unit",), "unit-not-taken", detail)
    for text in column.format if takes["format"] else ():
        try:
            _ = text in EXCEL_EPOCHS or compiled(text)
            _ = len(column.columns) < 2 or date_and_time(text)
        except ValueError as error:
            yield Flaw(("format",), "malformed-format", str(error))
    try:
        choices(column.values or {})
    except ValueError as error:
        yield Flaw(("values",), "contradiction", str(error))
    for text, value in (column.values or {}).items():
        for code, detail in _refusals(form, value):
            yield Flaw(("values", text), code, detail)


def _refusals(form: Any, value: Any) -> list[tuple[str, str]]:
    try:
        form.deserialize(value)
    except ValidationError as error:
        return [(fault.code, fault.detail) for fault in field_errors(error.messages)]
    return []


def value_flaws(form: Any, value: Any, path: Path, *, filled: bool) -> Iterator[Flaw]:
    """What keeps a value from its field. Of what columns fill, any part may come from them."""
    try:
        read = form.deserialize(value)
    except ValidationError as error:
        for fault in field_errors(error.messages):
            if fault.code != "required" or not filled:
                below = pointer_parts(fault.pointer)
                yield Flaw((*path, *below), fault.code, fault.detail)
        return
    if not filled:
        yield from (Flaw((*path, *below), code, said) for below, code, said in _sense(read, path))


def _sense(read: Any, path: Path) -> Iterator[tuple[Path, str, str]]:
    """What cannot be true of an instrument or of weights, which all rows would be refused for."""
    if isinstance(read, Instrument):
        yield from (((leaf,), code, said) for leaf, code, said in read.flaws())
    elif path == ("constants", "weights"):
        for name, weight in by_name(read).items():
            yield from (((name, leaf), code, said) for leaf, code, said in weight.flaws())
