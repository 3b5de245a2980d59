"""How a service read a table, from the header of its answer: a dictionary of RFC 9651."""

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import unquote

HEADER = "weighworthy-read-as"
_NAMES = ("encoding", "delimiter", "decimal", "thousands", "header_row", "sheet")
_FLAGS = ("stated", "assumed")
_KEY = r"[a-z*][a-z0-9_.*-]*"
_STRING = r'"(?:[ !#-\[\]-~]|\\["\\])*"'
_DISPLAY = r'%"(?:[ !#$&-~]|%[0-9a-f]{2})*"'
# Numbers, tokens, flags, bytes and dates, of which later members may be made.
_OTHER = r"[A-Za-z0-9*?:@-][^\s,;()\"]*"
_ITEM = f"(?:{_DISPLAY}|{_STRING}|{_OTHER})"
_MEMBER = re.compile(f"({_KEY})=({_ITEM})((?:; *{_KEY}(?:={_ITEM})?)*)")
_FLAG = re.compile(f"; *({_KEY})(?:={_ITEM})?")
_COMMA = re.compile("[ \t]*,[ \t]*")


def read_as_of(headers: Mapping[str, str]) -> dict[str, Any]:
    """What a summary has under ``read_as``; empty where no header, or no such one, has come."""
    text = headers.get(HEADER, "").strip(" ")
    members: dict[str, Any] = {}
    flags: dict[str, list[str]] = {flag: [] for flag in _FLAGS}
    at = 0
    while at < len(text):
        found = _MEMBER.match(text, at)
        if found is None:
            return {}
        name, item, behind = found.groups()
        members[name] = _value(item)
        for flag in _FLAGS:
            if flag in _FLAG.findall(behind):
                flags[flag].append(name)
        comma = _COMMA.match(text, found.end())
        if comma is None and found.end() != len(text):
            return {}
        at = comma.end() if comma else len(text)
    return {**{name: members.get(name) for name in _NAMES}, **flags} if members else {}


def _value(item: str) -> Any:
    if item.startswith('"'):
        return re.sub(r"\\(.)", r"\1", item[1:-1])
    if item.startswith("%"):
        return unquote(item[2:-1], errors="replace")
    return int(item) if re.fullmatch("-?[0-9]{1,15}", item) else item
