"""Messages that carry a code, and what is left of marshmallow's error tree when it is flat."""

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final, Self

from marshmallow import ValidationError

MAX_ERRORS: Final = 100
# Keys come from the request: a key of a megabyte must not come back in the answer.
_MAX_KEY: Final = 64

Path = tuple[str | int, ...]


class Coded(str):
    """A sentence for people that carries its `code` for programs."""

    __slots__ = ("code",)
    code: str

    def __new__(cls, code: str, detail: str) -> Self:
        self = super().__new__(cls, detail)
        self.code = code
        return self


def refused(code: str, detail: str) -> ValidationError:
    """The error a field raises."""
    return ValidationError([Coded(code, detail)])


def nearest(word: str, known: Iterator[str] | list[str] | tuple[str, ...]) -> str:
    """`; did you mean "…"?` when one of the known words is close, otherwise nothing."""
    close = get_close_matches(word[:_MAX_KEY], list(known), n=1)
    return f'; did you mean "{close[0]}"?' if close else ""


@dataclass(frozen=True, slots=True)
class FieldError:
    """One fault of a request: RFC 6901 pointer into the body, code, sentence."""

    pointer: str
    code: str
    detail: str


def pointer(path: Path) -> str:
    """RFC 6901 pointer of a path of keys and positions."""
    return "".join("/" + _shortened(str(part)) for part in path)


def _shortened(part: str) -> str:
    short = part if len(part) <= _MAX_KEY else part[:_MAX_KEY] + "…"
    return short.replace("~", "~0").replace("/", "~1")


def field_errors(messages: Any, under: Path = ()) -> list[FieldError]:
    """All faults of a marshmallow error tree in the order of the fields, pointers below `under`."""
    return [
        FieldError(pointer(path), getattr(message, "code", "invalid"), str(message))
        for path, message in _leaves(messages, under)
    ]


def _leaves(messages: Any, path: Path) -> Iterator[tuple[Path, str]]:
    if isinstance(messages, dict):
        for key, below in messages.items():
            # `None` is how a form says "the object itself"; no JSON key can be None.
            yield from _leaves(below, path if key is None else (*path, key))
    elif isinstance(messages, list):
        for message in messages:
            yield from _leaves(message, path)
    else:
        yield path, messages
