"""What is written in a cell, whatever it stands for; and cells that hold one of some values."""

from collections.abc import Callable, Mapping
from typing import Final, TypeVar

from weighworthy_service.tables.cells import (
    Cell,
    CellFault,
    ErrorCell,
    NumberCell,
    TimeCell,
    UncachedCell,
    shown,
)
from weighworthy_service.tables.listed import listed

T = TypeVar("T")

_NO_MISSING: Final[frozenset[str]] = frozenset()


def written(cell: Cell, missing: frozenset[str] = _NO_MISSING) -> str | None:
    """The text of a cell without blanks around it; None where the cell is empty or says so.

    Args:
        missing: texts that stand for an empty cell, as the mapping states them.

    Raises:
        CellFault: `cell-error`, `formula-uncached`.
    """
    if isinstance(cell, str):
        text = cell.strip()
    elif cell is None:
        return None
    elif isinstance(cell, NumberCell | TimeCell):
        text = cell.text
    elif isinstance(cell, bool):
        text = shown(cell)
    elif isinstance(cell, ErrorCell):
        if cell.text in missing:
            return None
        raise CellFault("cell-error", f"the cell shows the error {cell.text}")
    elif isinstance(cell, UncachedCell):
        raise CellFault(
            "formula-uncached",
            "the cell holds a formula without its result; open the file in a spreadsheet program "
            "and save it, then the result is stored",
        )
    return None if not text or text in missing else text


def texts(missing: frozenset[str] = _NO_MISSING) -> Callable[[Cell], str | None]:
    """A reader of free text."""

    def read(cell: Cell) -> str | None:
        return written(cell, missing)

    return read


def choices(
    values: Mapping[str, T], missing: frozenset[str] = _NO_MISSING
) -> Callable[[Cell], T | None]:
    """A reader of cells that hold one of some texts; case and blanks around do not count.

    Raises:
        ValueError: two of the texts differ only in case, and stand for different values.
    """
    folded: dict[str, T] = {}
    for text, value in values.items():
        if folded.setdefault(text.strip().casefold(), value) != value:
            raise ValueError(f"{text!r} stands for two values")
    known = listed(list(values))

    def read(cell: Cell) -> T | None:
        text = written(cell, missing)
        if text is None:
            return None
        try:
            return folded[text.casefold()]
        except KeyError:
            raise CellFault(
                "value-not-mapped", f"{text[:40]!r} is none of the texts of the mapping: {known}"
            ) from None

    return read


def flags(
    values: Mapping[str, bool] | None = None, missing: frozenset[str] = _NO_MISSING
) -> Callable[[Cell], bool | None]:
    """A reader of yes and no. Without `values` it takes a workbook's flag, and true and false."""
    read_text = choices(values or {"true": True, "false": False}, missing)

    def read(cell: Cell) -> bool | None:
        return cell if isinstance(cell, bool) else read_text(cell)

    return read


def lists(
    separator: str | None, missing: frozenset[str] = _NO_MISSING
) -> Callable[[Cell], list[str] | None]:
    """A reader of several names in one cell, like the weights on the pan; None: one name."""

    def read(cell: Cell) -> list[str] | None:
        text = written(cell, missing)
        if text is None:
            return None
        if separator is None:
            return [text]
        names = [name.strip() for name in text.split(separator)]
        if not all(names):
            raise CellFault("name-missing", f"{text[:40]!r} has a separator without a name")
        return names

    return read
