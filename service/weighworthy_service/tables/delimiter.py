"""What separates the cells of a file, where nobody has said so.

Each candidate reads the beginning of the file; it must make most rows equally wide and let the
wanted header be found. If two do so equally well, the mapping has to say. Where no rows are even,
the header alone decides, if it is found with one candidate only.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from weighworthy_service.tables.cells import AnyRow, Row, TableFault, TableNotUsable, is_empty
from weighworthy_service.tables.header import (
    HEADER_WITHIN,
    column_places,
    find_header,
    holds_all,
    position_of,
    why_no_header,
)
from weighworthy_service.tables.header_row import stated_header
from weighworthy_service.tables.table_section import DELIMITERS, Delimiter


@dataclass(frozen=True, slots=True)
class _Candidate:
    """How the beginning of a file looks with a delimiter: the usual width and its share of rows."""

    delimiter: Delimiter
    rows: Sequence[Row]
    early: Sequence[Row]
    width: int
    share: float
    header: Row | None


def find_delimiter(
    sample: Callable[[Delimiter], Sequence[AnyRow]],
    wanted: Sequence[str],
    header_row: int | None,
) -> tuple[Delimiter, bool]:
    """The delimiter, and whether it was found; not found is the case of a single column.

    Args:
        sample: the first rows as a delimiter makes them.
        wanted: names of columns; without any, the shape alone decides.
        header_row: as stated.

    Raises:
        TableNotUsable: `delimiter-unclear`, `header-not-found`, `column-missing`.
    """
    candidates = [_candidate(mark, sample(mark), wanted, header_row) for mark in DELIMITERS]
    shaped = [found for found in candidates if found.width > 1 and found.share > 0.5]
    fitting = [found for found in shaped if _lets_header(found, wanted, header_row)]
    if fitting:
        best = max(found.share for found in fitting)
        first, *others = [found for found in fitting if found.share == best]
        if others:
            marks = " and ".join(repr(found.delimiter) for found in (first, *others))
            raise TableNotUsable(
                TableFault(
                    "delimiter-unclear",
                    f"{marks} separate cells equally well; state `delimiter` in the mapping",
                )
            )
        return first.delimiter, True
    headed = [found for found in candidates if found.header and len(found.header[2]) > 1]
    if len(headed) == 1:
        # The rows are uneven, but only so are the wanted names cells of one row.
        return headed[0].delimiter, True
    for found in candidates:
        headed_enough = found.header or _lets_header(found, wanted, header_row)
        if found.width == 1 and found.share > 0.5 and headed_enough:
            return found.delimiter, False
    raise TableNotUsable(*_why_none(candidates, shaped, wanted, header_row))


def _candidate(
    mark: Delimiter, rows: Sequence[AnyRow], wanted: Sequence[str], header_row: int | None
) -> _Candidate:
    read = [row for row in rows if isinstance(row, tuple)]
    widths = Counter(len(row[2]) for row in read if not all(map(is_empty, row[2])))
    width, times = max(widths.items(), key=lambda item: (item[1], item[0]), default=(0, 0))
    early = [row for row in read if row[1] <= HEADER_WITHIN]
    if header_row is None:
        header = find_header(early, wanted)
    else:
        header = next((row for row in read if row[1] == header_row), None)
        if header is not None and not holds_all(header[2], wanted):
            header = None
    return _Candidate(mark, read, early, width, times / max(1, widths.total()), header)


def _lets_header(found: _Candidate, wanted: Sequence[str], header_row: int | None) -> bool:
    places = [place for place in map(position_of, wanted) if place is not None]
    if any(place >= found.width for place in places):
        return False
    if header_row == 0 or not wanted:
        return True
    return found.header is not None and len(found.header[2]) >= found.width


def _why_none(
    candidates: Sequence[_Candidate],
    shaped: Sequence[_Candidate],
    wanted: Sequence[str],
    header_row: int | None,
) -> Sequence[TableFault]:
    """Of the candidate under which most of the wanted columns are there, then the most even."""
    if not shaped and not any(found.header for found in candidates):
        nearest = [_why_not(f, wanted, header_row) for f in candidates] if wanted else []
        named = [faults for faults in nearest if faults and faults[0].code == "column-missing"]
        if named:
            return min(named, key=len)
    elif shaped and wanted:
        told = (
            _why_not(found, wanted, header_row)
            for found in sorted(shaped, key=lambda found: -found.share)
            if found.header is None
        )
        reasons = [faults for faults in told if faults]
        if reasons:
            return min(
                reasons, key=lambda faults: (faults[0].code != "column-missing", len(faults))
            )
    return [
        TableFault(
            "delimiter-unclear",
            "none of ; , tab and | separates the rows into equally many cells under a header in "
            f"the first {HEADER_WITHIN} rows; state `delimiter` in the mapping, and `header_row` "
            "if the header stands below",
        )
    ]


def _why_not(
    found: _Candidate, wanted: Sequence[str], header_row: int | None
) -> Sequence[TableFault]:
    """Why a candidate has no header that holds the wanted columns; nothing where it might."""
    if header_row is None:
        return why_no_header(found.early, wanted)
    if header_row == 0:
        _, faults = column_places([f"#{place + 1}" for place in range(found.width)], wanted)
        return faults
    try:
        stated_header(found.rows, header_row, wanted)
    except TableNotUsable as error:
        return error.errors
    return []
