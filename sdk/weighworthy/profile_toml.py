"""Profiles as TOML text (TOML 1.0): written from a document, and completed with a parent.

The standard library reads TOML and does not write it; what a profile needs is little.
"""

import json
import re
import tomllib
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from typing import Any

from weighworthy.values import plain

_WIDTH = 100
_BARE_KEY = re.compile("[A-Za-z0-9_-]+")
_DATES = ("effective_from", "effective_to")
_EXTENDS_LINE = re.compile(
    r"""^([ \t]*(?:extends|"extends"|'extends')[ \t]*=[ \t]*)("[^"\r\n]*"|'[^'\r\n]*')""",
    re.MULTILINE,
)


def profile_to_toml(document: Mapping[str, Any]) -> str:
    """Write a profile document as TOML; a nested parent becomes the table ``extends``.

    Read back it is the same document. Comments are no part of a document: who keeps them in a file
    edits the file. ``None`` is left out. Raises ``TypeError`` for a value without unit, ``date``
    and text being fine for dates.
    """
    return "\n".join(_table(plain(document, "profile", counts=True), "")) + "\n"


def with_parent(text: str, parent: Mapping[str, Any]) -> str | None:
    """The TOML text with its ``extends = "name"`` replaced by the parent itself, on one line.

    All other lines stay where they were, so that line numbers found in the result hold for the
    file. ``None`` where the text writes ``extends`` so unusually that this cannot be done.
    """
    wanted = {**tomllib.loads(text, parse_float=Decimal), "extends": parent}
    for found in _EXTENDS_LINE.finditer(text):
        completed = text[: found.end(1)] + inline(parent) + text[found.end() :]
        # The pattern may also hit a line inside a multi-line string: the meaning decides.
        try:
            if tomllib.loads(completed, parse_float=Decimal) == wanted:
                return completed
        except tomllib.TOMLDecodeError:
            continue
    return None


def inline(value: object, name: str = "") -> str:
    """One TOML value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float | Decimal):
        return str(value)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, str):
        return value if name in _DATES and _is_date(value) else _quoted(value)
    if isinstance(value, Mapping):
        members = [f"{_key(k)} = {inline(v, k)}" for k, v in value.items() if v is not None]
        return f"{{ {', '.join(members)} }}" if members else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(inline(item) for item in value)}]"
    raise TypeError(f"{name or 'a profile'}: no TOML for {type(value).__name__}")


def _table(document: Mapping[str, Any], prefix: str) -> list[str]:
    """Lines of a profile: its own keys, then the parent, then the rules, as TOML wants it."""
    lines: list[str] = []
    tables: list[str] = []
    for name, value in document.items():
        if name == "extends" and isinstance(value, dict):
            tables[:0] = ["", f"[{prefix}extends]", *_table(value, f"{prefix}extends.")]
        elif name == "rules" and _are_tables(value):
            for rule in value:
                tables += ["", f"[[{prefix}rules]]", *_members(rule)]
        elif value is not None:
            lines += _entry(_key(name), name, value)
    return lines + tables


def _members(rule: Mapping[str, Any]) -> list[str]:
    lines = []
    for name, value in rule.items():
        if name == "limits" and isinstance(value, dict) and value:
            for criterion, limit in value.items():
                if limit is not None:
                    lines += _entry(f"limits.{_key(criterion)}", "", limit)
        elif value is not None:
            lines += _entry(_key(name), name, value)
    return lines


def _entry(key: str, name: str, value: Any) -> list[str]:
    """``key = value`` on one line, or what is too long for one spread over several."""
    line = f"{key} = {inline(value, name)}"
    if len(line) <= _WIDTH:
        return [line]
    if isinstance(value, dict) and any(member is not None for member in value.values()):
        entries = [_entry(f"{key}.{_key(k)}", k, v) for k, v in value.items() if v is not None]
        return [row for entry in entries for row in entry]
    if isinstance(value, list) and value:
        return [f"{key} = [", *(f"  {inline(item)}," for item in value), "]"]
    return [line]


def _are_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) else _quoted(name)


def _quoted(text: str) -> str:
    # The escapes of JSON are escapes of TOML too; DEL, which JSON lets stand, TOML does not.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
