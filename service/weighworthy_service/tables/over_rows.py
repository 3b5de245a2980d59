"""Whether a record of several lines is one row, or rows that two stray quotation marks enclose."""

from collections.abc import Sequence

# A line of as many delimiters as this share of those of its record looks like a row of the table:
# exports leave out empty cells at the end.
_NEARLY = (3, 4)


def encloses_rows(lines: Sequence[str], width: int, delimiter: str) -> bool:
    """Whether the first line, the last and half of those between look like rows of the table.

    In a note of several lines hardly any does: the first has the delimiters before the note, the
    last those behind it.

    Args:
        lines: of one record, as they stand in the file.
        width: cells of that record.
        delimiter: between cells.
    """
    share, whole = _NEARLY
    enough = max(1, -(-share * (width - 1) // whole))
    first, *between, last = [line.count(delimiter) >= enough for line in lines if line.strip()]
    return first and last and 2 * sum(between) >= len(between)
