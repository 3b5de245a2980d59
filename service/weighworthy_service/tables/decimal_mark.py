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
    "[-−+]?([0-9][0-9., \u00a0\u202f\u2009'’]*)([^\\s0-9.,'’].*)?", re.DOTALL
)
_BLANKS: Final = re.compile("[ \u00a0\u202f\u2009'’]")
_ONE_MARK: Final = re.compile("[0-9]+([.,])[0-9]+")
_ONE_GROUP: Final = re.compile("[1-9][0-9]{0,2}[.,][0-9]{3}")
_GROUPS: Final = re.compile(r"[1-9][0-9]{0,2}(?:([.,])[0-9]{3})(?:\1[0-9]{3})+")
_GROUPS_AND_MARK: Final = re.compile(r"[0-9]{1,3}([.,])[0-9]{3}(?:\1[0-9]{3})*(?!\1)([.,])[0-9]+")

Place = tuple[str | None, int, str, str]  # sheet, row, column, text


def vote(text: str, thousands: Thousands | None) -> Vote | None:
    """The mark that the text must be read with; None where it has none, or is no number.

    With `thousands` stated nothing has two readings.
    """
    found = _NUMBER.fullmatch(text.strip())
    number = _BLANKS.sub("", found[1]) if found else ""
    result: Vote | None = None
    if one := _ONE_MARK.fullmatch(number):
        result = _either(one[1], number, thousands)
    elif groups := _GROUPS.fullmatch(number):
        result = "," if groups[1] == "." else "."
    elif both := _GROUPS_AND_MARK.fullmatch(number):
        result = "." if both[2] == "." else ","
    return result


def _either(mark: str, number: str, thousands: Thousands | None) -> Vote:
    if thousands in (".", ","):
        return "," if thousands == "." else "."
    if thousands is None and _ONE_GROUP.fullmatch(number):
        return "either"
    return "." if mark == "." else ","


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
                f"{text[:40]!r}: {says}; {ask}",
                sheet,
                row,
                column,
                text[:200],
            )
            for sheet, row, column, text in doubtful
        )
    )
