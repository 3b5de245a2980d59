"""Messages that carry a code, and what is left of marshmallow's error tree when it is flat."""

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import islice
from typing import Any, Final, Self

from marshmallow import ValidationError

from weighworthy_service.json_document import pointer

MAX_ERRORS: Final = 100
# No name of ours is longer, and the search for the nearest grows with the square.
_LONGEST_NAME: Final = 64

Path = tuple[str | int, ...]


class Coded(str):
    """A sentence for people that carries its `code` for programs.

    `known` are the names that would have been taken where an unknown one was sent.
    """

    __slots__ = ("code", "known")
    code: str
    known: tuple[str, ...]

    def __new__(cls, code: str, detail: str, known: tuple[str, ...] = ()) -> Self:
        self = super().__new__(cls, detail)
        self.code, self.known = code, known
        return self


def refused(code: str, detail: str) -> ValidationError:
    """The error a field raises."""
    return ValidationError([Coded(code, detail)])


def nearest(word: str, known: tuple[str, ...]) -> str:
    """`; did you mean "…"?` when one of the known words is close, otherwise nothing."""
    close = get_close_matches(word[:_LONGEST_NAME], known, n=1)
    return f'; did you mean "{close[0]}"?' if close else ""


@dataclass(frozen=True, slots=True)
class FieldError:
    """One fault of a request: RFC 6901 pointer into the body, code, sentence."""

    pointer: str
    code: str
    detail: str

    def below(self, place: str) -> "FieldError":
        """The same fault of a body that has this one at a place, a JSON pointer."""
        return FieldError(place + self.pointer, self.code, self.detail)


def field_errors(messages: Any, under: Path = ()) -> list[FieldError]:
    """The faults of a marshmallow error tree, at most 100, with pointers below `under`."""
    # Cut here and not later: a search for the nearest name is slow, and bodies can be hostile.
    return [_error(path, said) for path, said in islice(_leaves(messages, under), MAX_ERRORS)]


def _error(path: Path, said: str) -> FieldError:
    if not isinstance(said, Coded):
        return FieldError(pointer(*path), "invalid", str(said))
    hint = nearest(str(path[-1]), said.known) if said.known else ""
    return FieldError(pointer(*path), said.code, said + hint)


def _leaves(messages: Any, path: Path) -> Iterator[tuple[Path, str]]:
    if isinstance(messages, dict):
        for key, below in messages.items():
            yield from _leaves(below, (*path, key))
    elif isinstance(messages, list):
        for message in messages:
            yield from _leaves(message, path)
    else:
        yield path, messages
