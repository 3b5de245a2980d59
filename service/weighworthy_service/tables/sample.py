"""The beginning of a file, by which the rest is read; bounded in rows and in characters."""

from collections.abc import Iterable
from typing import Final

from weighworthy_service.tables.cells import AnyRow, BadRow

SAMPLE_ROWS: Final = 1000
# Characters, against rows of a mebibyte.
SAMPLE_SIZE: Final = 4 * 1024 * 1024


def sample_of(rows: Iterable[AnyRow]) -> list[AnyRow]:
    """The first rows, as far as a sample goes."""
    kept: list[AnyRow] = []
    size = 0
    for row in rows:
        kept.append(row)
        size += size_of(row)
        if len(kept) >= SAMPLE_ROWS or size > SAMPLE_SIZE:
            break
    return kept


def size_of(row: AnyRow) -> int:
    """Characters of a row, about."""
    if isinstance(row, BadRow):
        return 200
    cells = row[2] if isinstance(row, tuple) else row.cells
    return sum([len(cell) if cell.__class__ is str else 40 for cell in cells])
