"""Whether checks are void more often on one balance, with one person, or on one day of the week.

A fact about checks, with its chance, and never a statement about a person: whoever works in the
draught, or trains the newcomers, will stand out too.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, NamedTuple

from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.signals.holm import holm

Side = Literal["instrument", "person", "weekday"]
_DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_ON: Final = {"instrument": "on", "person": "by", "weekday": "on"}


@dataclass(frozen=True, slots=True)
class VoidShare:
    """Void checks of one group beside those of all others.

    `chance`: of at least so many if void checks fell on all alike; `adjusted` for the number of
    groups looked at. `would_have_failed`: of the void ones. `entries`: the void checks.
    """

    side: Side
    group: str
    void: int
    checks: int
    void_others: int
    checks_others: int
    would_have_failed: int
    chance: float
    adjusted: float
    stands_out: bool
    entries: tuple[str, ...]
    sentence: str


@dataclass(slots=True)
class _Tally:
    checks: int = 0
    void: list[Entry] = field(default_factory=list)


class _Group(NamedTuple):
    """One group, with the tally of its whole side."""

    side: Side
    name: str
    own: _Tally
    whole: _Tally


class _First(NamedTuple):
    """The first check of its kind on a balance on a day."""

    groups: Mapping[Side, str]
    entry: Entry
    void: bool


def void_shares(logs: Mapping[str, Sequence[Entry]], level: float = 0.05) -> tuple[VoidShare, ...]:
    """Of all groups that have others beside them, those with the smallest chance first.

    `logs`: entries in order, by balance. Only the first check of a kind on a balance on a day (by
    the date in the entry) counts: what spoilt it spoils its repeats, which then are no news. The
    exact test of Fisher, one-sided (more than the others), of each group against all others of its
    side, and Holm's correction over all groups.
    """
    groups = _groups(one for entries in logs.values() for one in _firsts(entries))
    chances = [_chance(group) for group in groups]
    found = [
        _said(group, chance, adjusted, level)
        for group, chance, adjusted in zip(groups, chances, holm(chances), strict=True)
    ]
    return tuple(sorted(found, key=lambda one: (one.chance, one.side, one.group)))


def _firsts(entries: Sequence[Entry]) -> Iterator[_First]:
    seen = set()
    for entry in entries:
        said = entry.said
        if said is None or said.verdict is None:
            continue
        same = (said.check, entry.at.date())
        if same not in seen:
            seen.add(same)
            groups: dict[Side, str] = {
                "instrument": entry.instrument,
                "weekday": _DAYS[entry.at.weekday()],
            }
            if entry.by is not None:
                groups["person"] = entry.by
            yield _First(groups, entry, said.verdict == "void")


def _groups(firsts: Iterable[_First]) -> list[_Group]:
    """All that have others beside them."""
    tallies: dict[Side, tuple[_Tally, dict[str, _Tally]]] = {}
    for first in firsts:
        for side, name in first.groups.items():
            whole, groups = tallies.setdefault(side, (_Tally(), {}))
            for tally in (whole, groups.setdefault(name, _Tally())):
                tally.checks += 1
                if first.void:
                    tally.void.append(first.entry)
    return [
        _Group(side, name, own, whole)
        for side, (whole, groups) in tallies.items()
        if len(groups) > 1
        for name, own in groups.items()
    ]


def _chance(group: _Group) -> float:
    from scipy.stats import hypergeom  # noqa: PLC0415 - takes more than a second to load

    own, whole = group.own, group.whole
    return float(hypergeom.sf(len(own.void) - 1, whole.checks, len(whole.void), own.checks))


def _said(group: _Group, chance: float, adjusted: float, level: float) -> VoidShare:
    own, whole = group.own, group.whole
    void, void_others = len(own.void), len(whole.void) - len(own.void)
    others = whole.checks - own.checks
    would = sum(e.said is not None and e.said.would_let_use is False for e in own.void)
    sentence = (
        f"{void} of {own.checks} checks {_ON[group.side]} {group.name} were void, and "
        f"{void_others} of {others} of the others (chance {chance:.2g}, {adjusted:.2g} among all "
        "groups)"
    )
    if would:
        sentence += f"; {would} of them would have failed"
    return VoidShare(
        group.side,
        group.name,
        void,
        own.checks,
        void_others,
        others,
        would,
        chance,
        adjusted,
        adjusted <= level,
        tuple(entry.id for entry in own.void),
        f"{sentence}.",
    )
