"""Columns of a frame as typed cells: what each value is, and what no cell can hold."""

import struct
from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime, time
from decimal import Decimal
from functools import partial
from typing import Any

from weighworthy.table_cells import Cell, cell_of

_SCALARS = (str, bool, int, float, Decimal, date, time)


def _shortest(value: float, code: str, digits: int) -> float:
    """The number with the fewest digits that a float of fewer bits keeps as this one."""
    if isinstance(value, float) and value - value == 0:
        for count in range(digits, 17):
            found = float(f"{value:.{count}g}")
            try:
                if struct.unpack(code, struct.pack(code, found))[0] == value:
                    return found
            except OverflowError:
                continue
    return value


_HALF: Callable[[Any], Any] = partial(_shortest, code="e", digits=3)
_FLOAT: Callable[[Any], Any] = partial(_shortest, code="f", digits=6)
# How pandas, polars and numpy name floats of 16 and 32 bits.
SINGLE = {
    **dict.fromkeys(("float16", "Float16", "halffloat[pyarrow]"), _HALF),
    **dict.fromkeys(("float32", "Float32", "float[pyarrow]"), _FLOAT),
}


def cells_of(values: Iterable[Any], name: str, *, wanted: bool) -> Iterator[Cell]:
    """The cells of one column, ``None`` where a value is missing.

    A time is written out, midnight too, so that nobody takes it for a mere date, unless all are
    midnight: so frames hold dates. What is no scalar is only let pass, by its type, in a column
    that nobody wants; else ``TypeError`` names column and row.
    """
    held = list(values)
    timed = any(isinstance(v, datetime) and (v.tzinfo or v.time() != time()) for v in held)
    for row, value in enumerate(held, start=2):
        if isinstance(value, datetime):
            yield cell_of(value)["t"] if timed else value.date().isoformat()
        elif value is None or isinstance(value, _SCALARS):
            yield cell_of(value)
        elif wanted:
            kind = type(value).__name__
            raise TypeError(f"column {name!r}, row {row}: a value of type {kind} is no cell")
        else:
            yield type(value).__name__
