"""Texts of a table or a mapping in a message: the first of them, and how many more there are."""

from collections.abc import Sequence
from typing import Final

MOST: Final = 10
_LONGEST: Final = 40


def listed(texts: Sequence[str], most: int = MOST) -> str:
    """Like `'A', 'B' and 3 more`; long texts are cut."""
    told = ", ".join(repr(_cut(text)) for text in texts[:most])
    more = len(texts) - most
    return f"{told} and {more} more" if more > 0 else told


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"
