"""One form for a profile document, whether it was written as TOML or as JSON, and its digest."""

import tomllib
from datetime import date, time
from typing import Any, Final

from weighworthy_service.json_document import digest

# A megabyte holds ten times as many empty objects, each of which is wrong in some way.
MAX_VALUES: Final = 50_000


def from_toml(text: str) -> dict[str, Any]:
    """Read a TOML profile into what its JSON form would be: dates as `YYYY-MM-DD` texts.

    Raises:
        tomllib.TOMLDecodeError: the text is no TOML; the message names line and column.
    """
    document: dict[str, Any] = plain(tomllib.loads(text))
    return document


def digest_of(document: dict[str, Any]) -> str:
    """`sha256:` over the RFC 8785 bytes of a well-formed document, null members left out.

    Comments, the order of keys and the choice between TOML and JSON have no influence.
    """
    return digest(plain(document))


def plain(value: Any) -> Any:
    """A value as JSON has it: without null members, dates and times as texts."""
    if isinstance(value, dict):
        return {key: plain(member) for key, member in value.items() if member is not None}
    if isinstance(value, list):
        return [plain(member) for member in value]
    if isinstance(value, date | time):  # datetime is a date
        return value.isoformat()
    return value


def has_too_many_values(document: Any) -> bool:
    """Whether there are more values in a document, at any depth, than a profile can need."""
    found, level = 1, [document]
    while level and found <= MAX_VALUES:
        below: list[Any] = []
        for value in level:
            if isinstance(value, dict):
                below += value.values()
            elif isinstance(value, list):
                below += value
        found, level = found + len(below), below
    return found > MAX_VALUES
