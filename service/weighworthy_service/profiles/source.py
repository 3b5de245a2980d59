"""A profile document as somebody wrote it, and where in it things stand."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from re import search
from typing import Any, Final

from weighworthy_service.json_document import pointer, pointer_parts
from weighworthy_service.profiles.canonical import MAX_VALUES, from_toml, has_too_many_values
from weighworthy_service.profiles.document import Profile, Rule
from weighworthy_service.profiles.lines import Path, line_of
from weighworthy_service.profiles.nesting import MAX_DEPTH, first_excess
from weighworthy_service.wire.coded import FieldError

_MAX_INTEGER: Final = 2**63


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands: JSON pointer in the document `id@revision`, and its line if known."""

    pointer: str
    line: int | None
    document: str | None

    def as_json(self) -> dict[str, Any]:
        """The place as answers have it."""
        return {"pointer": self.pointer, "line": self.line, "document": self.document}


class TomlUnreadable(ValueError):  # noqa: N818  it says what is wrong with the text
    """A text that is no TOML, or none that a profile could be: `line` counted from 1, `detail`."""

    def __init__(self, line: int, detail: str) -> None:
        super().__init__(f"line {line}: {detail}")
        self.line, self.detail = line, detail


def read_toml(text: str) -> dict[str, Any]:
    """The document that a TOML text means.

    Raises:
        TomlUnreadable: also for keys, depth, numbers and an extent that no profile has.
    """
    if excess := first_excess(text):
        raise TomlUnreadable(*excess)
    try:
        document = from_toml(text)
    except tomllib.TOMLDecodeError as error:
        raise _unreadable(text, str(error)) from None
    except ValueError:
        # What is left is an integer of thousands of digits, which Python refuses to convert.
        raise TomlUnreadable(1, "a number has too many digits") from None
    if has_too_many_values(document):
        raise TomlUnreadable(1, f"there are more than {MAX_VALUES} values")
    _refuse_depth_and_size(document, text)
    return document


@dataclass(frozen=True, slots=True)
class Source:
    """A document and, where it was written as TOML, its text."""

    document: Mapping[str, Any]
    toml: str | None = None

    def line(self, path: Path) -> int | None:
        """The line of a path of the document as it was sent; None without a text."""
        return None if self.toml is None else line_of(self.toml, path)

    def line_at(self, json_pointer: str) -> int | None:
        """The line of a JSON pointer into the document; None without a text."""
        return self.line(self._path(json_pointer))

    def with_lines(self, errors: Iterable[FieldError], under: Path = ()) -> list[FieldError]:
        """Faults of a body in which the document lies at `under`, each with its line if it has
        one."""
        if self.toml is None:
            return list(errors)
        begin = pointer(*under)
        return [
            FieldError(
                e.pointer,
                e.code,
                f"line {self.line_at(e.pointer.removeprefix(begin))}: {e.detail}",
            )
            for e in errors
        ]

    def _path(self, json_pointer: str) -> Path:
        path: Path = ()
        inside: Any = self.document
        for name in pointer_parts(json_pointer):
            # The same digits are a position in a list and a name in an object.
            at = int(name) if isinstance(inside, list) and name.isdecimal() else name
            path = (*path, at)
            if isinstance(inside, list):
                inside = inside[at] if isinstance(at, int) and at < len(inside) else None
            else:
                inside = inside.get(at) if isinstance(inside, Mapping) else None
        return path


def place_in(profile: Profile, source: Source | None, rule: Rule | None, path: Path) -> Place:
    """Where a setting of a rule stands; of no rule, a member of the profile as a whole.

    The line is known where the document that made the rule is part of the text that was sent.
    """
    if rule is None:
        own = source is not None and path[0] in source.document
        line = source.line(path) if source is not None and own else None
        return Place(pointer(*path), line, profile.name)
    origin = rule.origin
    where = f"{origin.pointer}{pointer(*path)}"
    names = (profile.name, *profile.extends)
    if source is None or source.toml is None or origin.document not in names:
        return Place(where, None, origin.document)
    inside: Any = source.document
    above = ("extends",) * names.index(origin.document)
    for key in above:
        inside = inside.get(key) if isinstance(inside, Mapping) else None
    if not isinstance(inside, Mapping):
        return Place(where, None, origin.document)
    return Place(where, source.line_at(pointer(*above) + where), origin.document)


def _unreadable(text: str, message: str) -> TomlUnreadable:
    found = search(r"^(.*) \(at (?:line ([0-9]+), column ([0-9]+)|end of document)\)$", message)
    if found is None:
        return TomlUnreadable(1, message)
    if found[2] is None:
        return TomlUnreadable(len(text.rstrip().split("\n")), f"{found[1]}, at the end of the text")
    return TomlUnreadable(int(found[2]), f"{found[1]}, in column {found[3]}")


def _refuse_depth_and_size(document: Any, text: str) -> None:
    below: list[tuple[Any, Path]] = [(document, ())]
    while below:
        value, path = below.pop()
        if isinstance(value, int | float) and not abs(value) < _MAX_INTEGER:
            raise TomlUnreadable(line_of(text, path), "a number is beyond any that is taken")
        if not isinstance(value, dict | list):
            continue
        if len(path) >= MAX_DEPTH:
            raise TomlUnreadable(line_of(text, path), f"nested deeper than {MAX_DEPTH} levels")
        members = value.items() if isinstance(value, dict) else enumerate(value)
        below += [(member, (*path, key)) for key, member in members]
