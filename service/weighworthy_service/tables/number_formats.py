"""What the number format of a workbook's cell shows beside or instead of the number stored.

A format has up to four sections, for positive and negative numbers, zero and texts (ECMA-376 part
1, 18.8.31, from memory). Texts in quotes or behind a backslash are shown as they stand, a comma
behind the last digit divides by a thousand, a percent sign multiplies by a hundred.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from weighworthy_service.tables.unit_words import unit_in

_SECTIONS: Final = re.compile(r'(?:"[^"]*"|\\.|\[[^\]]*\]|[^;"\\\[])*', re.DOTALL)
# Shown texts; and what is not: padding, filling, colours, conditions.
_SHOWN: Final = re.compile(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]', re.DOTALL)
_HIDDEN: Final = re.compile(r"[_*].|\[[^\]]*\]|General", re.DOTALL)
_CONDITION: Final = re.compile(r"\[[<>=]")
_SCALING: Final = re.compile(r"[0#?](,+)(?=\.|[^0#?,.]*\Z)")
_DIGITS: Final = re.compile(r"[0#?][0#?.,%]*(?:E[+-][0#?]+)?")
_PART: Final = re.compile(f"{_SHOWN.pattern}|{_HIDDEN.pattern}|{_DIGITS.pattern}", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Shows:
    """`percent`: a hundred times the number; `divided`: by how much; `unit`: see `unit_in`."""

    percent: bool = False
    divided: int = 1
    unit: str | None = None


@lru_cache(maxsize=1024)
def shows(number_format: str, sign: int) -> Shows:
    """What a format shows of a number.

    Args:
        sign: 1, -1 or 0: which section counts. Where sections have conditions of their own, the
            first that shows a unit or divides.
    """
    sections = [_of_section(text) for text in _SECTIONS.findall(number_format) if text]
    if not sections:
        return Shows()
    if _CONDITION.search(number_format):
        return next((one for one in sections if one != Shows()), sections[0])
    at = {1: 0, -1: 1, 0: 2}[sign]
    return sections[at] if at < len(sections) else sections[0]


def _of_section(text: str) -> Shows:
    bare = _HIDDEN.sub("", _SHOWN.sub("", text))
    if _DIGITS.search(bare):
        # Texts, single characters and bare letters make words together: m"g", \m\g.
        said = _PART.sub(lambda part: "".join(filter(None, part.groups())) or " ", text)
    else:
        # Bare letters are codes of dates where no digit stands beside them.
        said = "".join("".join(found) for found in _SHOWN.findall(text))
    scaling = _SCALING.search(bare.rstrip("% "))
    return Shows(
        percent="%" in bare,
        divided=1000 ** len(scaling[1]) if scaling else 1,
        unit=unit_in(said),
    )
