"""Profiles as TOML text (TOML 1.0): written from a document, and joined with their parents.

The standard library reads TOML and does not write it; what a profile needs is little.
"""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, time
from decimal import Decimal
from typing import Any

from weighworthy.values import plain

_WIDTH = 100
_BARE_KEY = re.compile("[A-Za-z0-9_-]+")
_DATES = ("effective_from", "effective_to")
_HEADER = re.compile(r"[ \t]*\[{1,2}[ \t]*")
_EXTENDS = re.compile(r"""[ \t]*(?:extends|"extends"|'extends')[ \t]*=""")


def profile_to_toml(document: Mapping[str, Any]) -> str:
    """Write a profile document as TOML; a nested parent becomes the table ``extends``.

    Read back it is the same document. Comments are no part of a document: who keeps them in a file
    edits the file. ``None`` is left out. Raises ``TypeError`` for a value without unit, ``date``
    and text being fine for dates.
    """
    return "\n".join(_table(plain(document, "profile", counts=True), "")) + "\n"


def joined(texts: Sequence[str]) -> tuple[str, tuple[int, ...]]:
    """One TOML text of a profile and its parents, child first, each with its lines in order.

    A parent becomes the table ``extends`` below its child. Also gives the number of the line that
    the first line of each text has become. Whoever calls this compares what the result means with
    what it should: TOML written unusually may come out as something else, or broken.
    """
    lines: list[str] = []
    starts: list[int] = []
    for depth, text in enumerate(texts):
        above = ".".join(["extends"] * depth)
        if above:
            lines.append(f"[{above}]")
        starts.append(len(lines) + 1)
        lines += _below(text, above, names_parent=depth < len(texts) - 1)
    return "\n".join(lines) + "\n", tuple(starts)


def _below(text: str, above: str, *, names_parent: bool) -> Iterator[str]:
    """The lines of a TOML text as they read below the table ``above``."""
    lines = text.removesuffix("\n").split("\n")
    in_a_table = False
    for number, line in enumerate(lines):
        header = _HEADER.match(line)
        extends = names_parent and not in_a_table and _EXTENDS.match(line)
        # Inside a list or a text of several lines the text before does not stand for itself.
        if (header or extends) and _is_whole("\n".join([*lines[:number], ""])):
            in_a_table = in_a_table or header is not None
            if extends:
                yield ""
                continue
            if header and above:
                yield f"{header[0]}{above}.{line[header.end() :]}"
                continue
        yield line


def _is_whole(text: str) -> bool:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return True


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
