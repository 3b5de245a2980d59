"""Which check would tell the causes apart that are left."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from weighworthy_service.checks.causes import Cause
from weighworthy_service.checks.registry import KINDS
from weighworthy_service.sittings.judged import JudgedCheck
from weighworthy_service.sittings.words import PASSING, phrase


@dataclass(frozen=True, slots=True)
class Next:
    """A check to do next. `tells`: names of causes it would show or rule out, of those left, or
    of which it looks at a part.

    `how`: null, the check as it is; `other-weights`, the failed check with other weights; `again`,
    the failed check once more, just as it was.
    """

    check: str
    how: Literal["other-weights", "again"] | None
    tells: tuple[str, ...]
    leaves: tuple[str, ...]
    sentence: str


def next_checks(
    left: Sequence[Cause], failed: JudgedCheck, judged: Sequence[JudgedCheck]
) -> tuple[Next, ...]:
    """Those that part the causes that are left, the most even first, then what tells most, then
    what looks at a part of one."""
    names = tuple(dict.fromkeys(cause.name for cause in left))
    there = {one.kind.slug for one in judged if one.evaluation.verdict != "void"}
    return (*_parting(names, failed, there), *_in_part(names, failed, there))


def _parting(names: tuple[str, ...], failed: JudgedCheck, there: set[str]) -> list[Next]:
    if len(names) < 2:
        return []
    found = list(_other_kinds(names, there))
    slug = failed.kind.slug
    if "weight" in names:
        sentence = "with other weights: a wrong or dirty weight then shows no more"
        found.append(_next(slug, "other-weights", ("weight",), names, sentence))
    passing = tuple(name for name in names if name in PASSING)
    if passing:
        sentence = "once more, just as it was: what need not come again may then be gone"
        found.append(_next(slug, "again", passing, names, sentence))
    parting = [one for one in found if one.tells and one.leaves]
    return sorted(parting, key=_worth)


def _worth(one: Next) -> tuple[int, int]:
    return -min(len(one.tells), len(one.leaves)), -len(one.tells)


def _in_part(names: tuple[str, ...], failed: JudgedCheck, there: set[str]) -> Iterator[Next]:
    parts = getattr(failed.kind.part("causes"), "IN_PART", {})
    for name, (slug, sentence) in parts.items():
        if name in names and slug not in there:
            yield _next(slug, None, (name,), names, sentence)


def _other_kinds(names: tuple[str, ...], there: set[str]) -> Iterator[Next]:
    for kind in KINDS:
        part = kind.part("causes")
        if kind.slug in there or part is None:
            continue
        tells = tuple(name for name in names if name in part.SEES)
        said = ", ".join(phrase(name, None) for name in tells)
        yield _next(kind.slug, None, tells, names, f"it would show or rule out: {said}")


def _next(
    slug: str,
    how: Literal["other-weights", "again"] | None,
    tells: tuple[str, ...],
    names: tuple[str, ...],
    sentence: str,
) -> Next:
    leaves = tuple(name for name in names if name not in tells)
    return Next(slug, how, tells, leaves, f"{slug}: {sentence}")
