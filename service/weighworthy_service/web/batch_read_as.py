"""How a table was read, as a header of the answer: a dictionary of structured fields (RFC 9651).

For answers in CSV, which have no place for it. Like
`encoding="utf-8", delimiter=";", decimal=",", header_row=3;assumed`.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

READ_AS: Final = "Weighworthy-Read-As"
_PLAIN: Final = re.compile("[ -~]*")


def read_as_header(read_as: Mapping[str, Any]) -> str:
    """Members for what is not None, with the parameters `stated` and `assumed`, as in a summary."""
    flags = {flag: read_as[flag] for flag in ("stated", "assumed")}
    return ", ".join(
        f"{name}={_item(value)}" + "".join(f";{flag}" for flag in flags if name in flags[flag])
        for name, value in read_as.items()
        if name not in flags and value is not None
    )


def _item(value: str | int) -> str:
    """An integer, a string, or, beyond printable ASCII, a display string (RFC 9651, 4.1.11)."""
    if isinstance(value, int):
        return str(value)
    if _PLAIN.fullmatch(value):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    return '%"' + "".join(map(_display, value.encode("utf-8", "replace"))) + '"'


def _display(byte: int) -> str:
    return chr(byte) if 0x20 <= byte < 0x7F and byte not in b'%"' else f"%{byte:02x}"
