"""Whether checks show the same readings again and again where scatter is due.

Copied figures look like this, and so does a display that hangs, or a balance that scatters less
than is stated of it: the finding says that figures are too equal, and not why.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Any, Final, Literal, NamedTuple

from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.entries import CheckSaid, Entry
from weighworthy_service.logbook.signals.holm import holm
from weighworthy_service.logbook.signals.same_readings import (
    chance_equal,
    chance_of_pairs,
    chance_of_run,
)
from weighworthy_service.metrology.instrument import Instrument

# If two checks in a row are equal more often than not, equal ones tell nothing.
_TELLING: Final = 0.5


@dataclass(frozen=True, slots=True)
class EqualReadings:
    """Equal checks of one kind on one balance: the longest run, or neighbours with one person.

    `person` None: whoever did them. `of`: checks in all for a run, pairs that share no check for
    neighbours. `chance_two`: that two checks are equal, at most. `chance`: of at least so many;
    `adjusted` for all that was looked at. `others`: (equal, pairs) of the other persons.
    """

    what: Literal["run", "neighbours"]
    instrument: str
    check: str
    person: str | None
    equal: int
    of: int
    chance_two: float
    chance: float
    adjusted: float
    stands_out: bool
    others: tuple[int, int] | None
    entries: tuple[str, ...]
    sentence: str


class _Found(NamedTuple):
    what: Literal["run", "neighbours"]
    checks: "_Checks"
    person: str | None
    equal: int
    of: int
    chance: float
    others: tuple[int, int] | None
    entries: tuple[str, ...]


class _Read(NamedTuple):
    """A check and what was read in it; the number of independent readings."""

    entry: Entry
    figures: tuple[Any, ...]
    readings: int


class _Checks(NamedTuple):
    """All of one kind on one balance; `scatter` as a share of the scale interval."""

    instrument: str
    check: str
    all: list[_Read]
    scatter: float

    @property
    def readings(self) -> int:
        """The fewest in one check."""
        return min(one.readings for one in self.all)

    @property
    def chance_two(self) -> float:
        """That two checks are equal, at most."""
        return chance_equal(2, self.scatter) ** self.readings


def equal_readings(
    logs: Mapping[str, Sequence[Entry]],
    instruments: Mapping[str, Instrument],
    level: float = 0.05,
) -> tuple[EqualReadings, ...]:
    """All that was looked at, the smallest chance first.

    `logs`: entries in order, by balance. Against the chance of equal readings that follows from the
    stated repeatability and the scale interval (rounded normal), at its greatest over where the
    value stands between two steps; Holm's correction over all. Balances without a stated
    repeatability are passed over, and kinds of check where equal neighbours are to be expected.
    """
    found = []
    for checks in _to_look_at(logs, instruments):
        found += [_run(checks), *_neighbours(checks)]
    adjusted = holm([one.chance for one in found])
    said = [_said(one, a, level) for one, a in zip(found, adjusted, strict=True)]
    return tuple(
        sorted(said, key=lambda s: (s.chance, s.instrument, s.check, s.what, s.person or ""))
    )


def _to_look_at(
    logs: Mapping[str, Sequence[Entry]], instruments: Mapping[str, Instrument]
) -> Iterator[_Checks]:
    for name, entries in logs.items():
        balance = instruments.get(name)
        if balance is None or not balance.repeatability:
            continue
        scatter = float(balance.repeatability / balance.scale_interval)
        for check in sorted({entry.said.check for entry in entries if entry.said is not None}):
            checks = _Checks(name, check, list(_read(entries, check)), scatter)
            if len(checks.all) > 1 and checks.chance_two <= _TELLING:
                yield checks


def _read(entries: Sequence[Entry], check: str) -> Iterator[_Read]:
    """Figures follow from readings and weights: equal figures, equal readings."""
    for entry in entries:
        said = entry.said
        if said is not None and said.check == check:
            figures, readings = _figures(said)
            if readings:
                yield _Read(entry, figures, readings)


def _figures(said: CheckSaid) -> tuple[tuple[Any, ...], int]:
    """What is equal where readings are, and of how many; none of a kind that does not tell."""
    part = BY_SLUG[said.check].part("as_found")
    if part is None or not hasattr(part, "readings"):
        return (), 0
    figures, readings = part.readings(said.criteria, said.results)
    return figures, readings


def _run(checks: _Checks) -> _Found:
    runs = [list(run) for _, run in groupby(checks.all, key=lambda one: one.figures)]
    longest, of = max(runs, key=len), len(checks.all)
    chance = chance_of_run(len(longest), of, checks.scatter, checks.readings)
    ids = tuple(one.entry.id for one in longest)
    return _Found("run", checks, None, len(longest), of, chance, None, ids)


def _neighbours(checks: _Checks) -> Iterator[_Found]:
    """Each check of a person beside the one before it, whoever did that; in all, and by person."""
    persons = sorted({one.entry.by for one in checks.all if one.entry.by is not None})
    for person in (None, *persons) if len(persons) > 1 else (None,):
        pairs = list(_apart(checks.all, person))
        if not pairs:
            continue
        equal = [pair for pair in pairs if _same(pair)]
        others = None
        if person is not None:
            rest = [pair for pair in pairwise(checks.all) if pair[1].entry.by != person]
            others = sum(map(_same, rest)), len(rest)
        chance = chance_of_pairs(len(equal), len(pairs), checks.scatter, checks.readings)
        ids = tuple(one.entry.id for pair in equal for one in pair)
        yield _Found("neighbours", checks, person, len(equal), len(pairs), chance, others, ids)


def _same(pair: tuple[_Read, _Read]) -> bool:
    return pair[0].figures == pair[1].figures


def _apart(checks: Sequence[_Read], person: str | None) -> Iterator[tuple[_Read, _Read]]:
    """Pairs that share no check, so that they are independent; chosen blindly."""
    free = 0
    for i in range(1, len(checks)):
        if i - 1 >= free and (person is None or checks[i].entry.by == person):
            yield checks[i - 1], checks[i]
            free = i + 1


def _said(found: _Found, adjusted: float, level: float) -> EqualReadings:
    name, check, two = found.checks.instrument, found.checks.check, found.checks.chance_two
    chances = f"chance at most {found.chance:.2g}, {adjusted:.2g} among all that was looked at"
    if found.what == "run":
        sentence = (
            f"On {name}, {found.equal} checks in a row of {found.of} ({check}) show the same "
            f"readings ({chances})."
        )
    else:
        by = " by one person" if found.person else ""
        of_others = (
            "" if found.others is None else "; of the others, {} of {}".format(*found.others)
        )
        sentence = (
            f"On {name}, {found.equal} of {found.of} checks{by} ({check}) show the readings of the "
            f"check before ({chances}; of two, at most {two:.2g}){of_others}."
        )
    return EqualReadings(
        found.what,
        name,
        check,
        found.person,
        found.equal,
        found.of,
        two,
        found.chance,
        adjusted,
        adjusted <= level,
        found.others,
        found.entries,
        sentence,
    )
