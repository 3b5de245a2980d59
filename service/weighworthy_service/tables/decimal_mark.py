"""Whether the numbers of a table are written with a point or a comma; never a guess.

`1,234` is one and a bit or more than a thousand. A cell that can be read in one way only decides
for the whole table; if none does and some can be read in two, the mapping has to say.
"""

import re
from collections.abc import Iterable
from typing import Final, Literal

from weighworthy_service.tables.cells import TableFault, TableNotUsable
from weighworthy_service.tables.table_section import DecimalMark, Thousands

Vote = Literal[".", ",", "either"]

_NUMBER: Final = re.compile(
    r"[-−+]?([0-9][0-9.,  \u202f\u2009'’]*)(?:\s*[^\s0-9.,'’].*)?", re.DOTALL
)
_GROUP: Final = re.compile("[1-9][0-9]{0,2}[.,][0-9]{3}")

Place = tuple[str | None, int, str, str]  # sheet, row, column, text


def vote(text: str, thousands: Thousands | None) -> Vote | None:
    """The mark that the text must be read with; None where it has none, or is no number.

    With `thousands` stated nothing has two readings.
    """
    found = _NUMBER.fullmatch(text.strip())
    number = found[1].strip() if found else ""
    points, commas = number.count("."), number.count(",")
    mark: DecimalMark = "." if number.rfind(".") > number.rfind(",") else ","
    other: DecimalMark = "," if mark == "." else "."
    mixed, times = points > 0 and commas > 0, number.count(mark)
    result: Vote | None = mark
    if not times or (mixed and times > 1):
        result = None
    elif times > 1:
        # Only groups come more than once.
        result = other
    elif not mixed and thousands in (".", ","):
        result = "," if thousands == "." else "."
    elif not mixed and thousands is None and _GROUP.fullmatch(number):
        result = "either"
    return result


def find_decimal_mark(cells: Iterable[Place], thousands: Thousands | None) -> DecimalMark | None:
    """The mark that all cells agree on; None where none of them has any mark.

    Raises:
        TableNotUsable: `decimal-ambiguous`, with the cells that disagree or can be read both ways.
    """
    seen: dict[Vote, Place] = {}
    for place in cells:
        found = vote(place[3], thousands)
        if found is not None:
            seen.setdefault(found, place)
    decided: list[DecimalMark] = [mark for mark in (".", ",") if mark in seen]
    if len(decided) == 1:
        return decided[0]
    if not decided and "either" not in seen:
        return None
    doubtful = [seen[mark] for mark in decided] or [seen["either"]]
    ask = "state `decimal` in the mapping, and `thousands` where groups are separated"
    says = (
        "some numbers are written with a point and some with a comma"
        if decided
        else "it may mean a thousand or one point something"
    )
    raise TableNotUsable(
        *(
            TableFault(
                "decimal-ambiguous",
                f"row {row}, column {column!r}: {text[:40]!r}: {says}; {ask}",
                sheet,
                row,
                column,
                text[:200],
            )
            for sheet, row, column, text in doubtful
        )
    )
