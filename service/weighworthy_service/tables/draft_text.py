"""Texts of a table written into TOML, whatever is in them."""

import json
import re
from collections.abc import Iterable


def quoted(text: str) -> str:
    """A basic string. JSON's strings are those of TOML but for one control character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key_text(name: str) -> str:
    """A key, in quotes where it needs them."""
    return name if re.fullmatch("[A-Za-z0-9_-]+", name) else quoted(name)


def listed_text(texts: Iterable[str]) -> str:
    """An array of strings."""
    return f"[{', '.join(quoted(text) for text in texts)}]"


def comment(text: str) -> str:
    """A comment of one line, without control characters."""
    return "# " + "".join(char if char.isprintable() else " " for char in text)
