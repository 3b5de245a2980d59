"""Why a text is no number, in the words of what people and programs write in place of one."""

import re
from typing import Final

from weighworthy_service.tables.table_section import DecimalMark

# What may stand between groups of three digits.
ANY_GROUP: Final = re.compile("[ \u00a0\u202f\u2009'’.,]")

_CENSORED: Final = ("<", ">", "≤", "≥", "~", "≈")
_OVERLOAD: Final = frozenset({"overload", "underload", "ol", "ul", "+ol", "-ol", "o.l."})
_NOTHING: Final = frozenset({"na", "n/a", "n.a.", "#n/a", "nan", "null", "none", "nil", "?", "x"})


def why_no_number(text: str, decimal: DecimalMark) -> tuple[str, str]:
    """Code and sentence about a text that the number grammar does not take.

    Codes: `censored`, `overload`, `not-a-reading`, `decimal-differs`, `number-malformed`.
    """
    folded = text.casefold()
    other = "," if decimal == "." else "."
    code, why = "number-malformed", "is not a number"
    if text.startswith(_CENSORED):
        code, why = "censored", "is a bound, not a value"
    elif folded in _OVERLOAD:
        code, why = "overload", "says that there is no reading"
    elif folded in _NOTHING or not folded.strip("-–—_./* "):
        code = "not-a-reading"
        why = "is no number; list it under `missing` in the mapping if it means an empty cell"
    elif text.startswith("+"):
        why = "begins with a plus; write the number without it"
    elif re.match(rf"[-−]?[0-9][0-9.,]*{re.escape(other)}[0-9]", text):
        code = "decimal-differs"
        why = (
            f"does not fit the decimal mark {decimal!r} of this table; "
            "if it separates thousands, state `thousands` in the mapping"
        )
    elif re.match(rf"[-−]?[0-9]+{ANY_GROUP.pattern}[0-9]{{3}}", text):
        why = "seems to have groups of digits; state `thousands` in the mapping"
    return code, f"{text[:40]!r} {why}"
