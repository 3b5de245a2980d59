"""Whether a record of several lines is one row, or rows that two stray quotation marks enclose."""

import re
from collections.abc import Sequence
from typing import Final

# A line of as many delimiters as this share of those of its record looks like a row of the table.
_NEARLY: Final = (3, 4)
_LINE_ENDS: Final = re.compile(r"\r\n|\r|\n")
# A number, a date or a time, with at most a unit of a few letters behind it.
_FIGURE: Final = re.compile(r"\s*[-+\u2212]?[0-9][0-9.,:/T -]*\s?[^\W\d]{0,3}\s*")
_CELLS, _FIGURES = 3, 2


def encloses_rows(lines: Sequence[str], cells: Sequence[str], delimiter: str) -> bool:
    """Whether a record looks like rows of the table: by its figures, or by its delimiters.

    By figures: some line after the first of a cell has two that stand alone between delimiters. By
    delimiters: the first line, the last and half of those between have nearly as many as the
    record, and a figure stands alone somewhere in a cell of several lines, as one does in every
    row that a check can be made of. In a note of several lines hardly any line is like that.

    Never where all lines within the record end otherwise than the record itself: a program that
    ends rows with CR LF and lines within a cell with LF has said which are which.

    Args:
        lines: of one record, as they stand in the file.
        cells: of that record.
        delimiter: between cells.
    """
    *within, own = [line[len(line.rstrip("\r\n")) :] for line in lines]
    if own and own not in within:
        return False
    broken = [parts for cell in cells if len(parts := _LINE_ENDS.split(cell)) > 1]
    if any(_like_a_row(line, delimiter) for _, *rest in broken for line in rest):
        return True
    if not any(_figures(line, delimiter) for parts in broken for line in parts):
        return False
    share, whole = _NEARLY
    enough = max(1, -(-share * (len(cells) - 1) // whole))
    first, *between, last = [line.count(delimiter) >= enough for line in lines if line.strip()]
    return first and last and 2 * sum(between) >= len(between)


def _like_a_row(line: str, delimiter: str) -> bool:
    return line.count(delimiter) >= _CELLS - 1 and _figures(line, delimiter) >= _FIGURES


def _figures(line: str, delimiter: str) -> int:
    """Parts between delimiters that are a figure and nothing else."""
    return sum(map(bool, map(_FIGURE.fullmatch, line.split(delimiter))))
