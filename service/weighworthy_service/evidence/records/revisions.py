"""The revisions of the engine, and what each may make differ in a record of an earlier one.

A line is written here with the line "Effect on results" in the changes of the interface: whoever
raises `ENGINE_REVISION` says what may then be different, and where.
"""

from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Final


@dataclass(frozen=True, slots=True)
class Revision:
    """`may_differ`: patterns of JSON pointers into an answer, `*` for whatever stands there."""

    number: int
    effect: str
    may_differ: tuple[str, ...] = ()


REVISIONS: Final = (Revision(1, "the first: nothing was released before it"),)
# Patterns of members that answers of earlier versions did not have, of whatever revision.
ADDED: Final[tuple[str, ...]] = ()


def stated_effect(
    pointer: str, recorded: int, present: int, revisions: tuple[Revision, ...] = REVISIONS
) -> str | None:
    """What a revision after `recorded`, up to `present`, says of a difference at this place."""
    for revision in revisions:
        if recorded < revision.number <= present and any(
            fnmatchcase(pointer, pattern) for pattern in revision.may_differ
        ):
            return f"engine revision {revision.number}: {revision.effect}"
    return None


def was_added(pointer: str, added: tuple[str, ...] = ADDED) -> bool:
    """Whether answers of earlier versions had nothing at this place."""
    return any(fnmatchcase(pointer, pattern) for pattern in added)
