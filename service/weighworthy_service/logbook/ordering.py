"""The order of entries: by instant, then rank of the kind, then id, however they arrive.

A log that contradicts itself is refused, since any order of the two would be a guess.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import Final

from weighworthy_service.checks.flaws import Flaw, SenseError, refuse_if_any
from weighworthy_service.logbook.entries import RANK, CheckSaid, Entry

_INSTANT: Final = attrgetter("at")


def _at_once(entry: Entry) -> tuple[int, str]:
    return RANK[entry.kind], entry.id


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Every entry once, in order.

    Raises:
        SenseError: with all flaws; `repeated-id` (one id with different content) and
            `contradictory` (two entries of one instant of which only one can be so).
    """
    flaws: list[Flaw] = []
    ordered: list[Entry] = []
    # Logs mostly come in time order, in which only entries of one instant are left to sort.
    for _, group in groupby(sorted(_once(entries, flaws), key=_INSTANT), key=_INSTANT):
        present = list(group)
        if len(present) > 1:
            present.sort(key=_at_once)
            flaws.extend(_contradictions(present))
        ordered += present
    refuse_if_any(flaws)
    return ordered


def until(entries: Sequence[Entry], at: datetime) -> tuple[list[Entry], int]:
    """The entries not later than `at`, and how many are left out."""
    kept = [entry for entry in entries if entry.at <= at]
    return kept, len(entries) - len(kept)


class Sorted:
    """Entries that are promised to come in time order, passed on in order, in one pass.

    Only the entries of the present instant are held. An id that is used again at another instant
    with other content is not noticed here, as it is by `in_order`.

    Iterating raises `SenseError` at the first instant that `in_order` would refuse, and with
    `not-in-order` at an entry earlier than the one before.
    """

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._entries = entries

    def __iter__(self) -> Iterator[Entry]:
        before: Entry | None = None
        present: list[Entry] = []
        for entry in self._entries:
            if present and entry.at != present[0].at:
                yield from _after(before, present)
                before, present = present[-1], []
            present.append(entry)
        yield from _after(before, present)


def _after(before: Entry | None, present: list[Entry]) -> list[Entry]:
    """The entries of one instant in order, if it is later than that of the entry before."""
    if before is not None and present and present[0].at < before.at:
        raise SenseError([_not_in_order(before, present[0])])
    return present if len(present) < 2 else _settled(present)


def _settled(present: list[Entry]) -> list[Entry]:
    """Entries of one instant in order; most are of as many instruments, which cannot contradict."""
    several = len(present)
    if several == 2:  # by far the most common number
        first, second = present
        if first.instrument != second.instrument and first.id != second.id:
            return present if _at_once(first) < _at_once(second) else [second, first]
    if len({one.instrument for one in present}) == several == len({one.id for one in present}):
        return sorted(present, key=_at_once)
    return in_order(present)


def _once(entries: Iterable[Entry], flaws: list[Flaw]) -> Iterator[Entry]:
    seen: dict[str, Entry] = {}
    for entry in entries:
        first = seen.get(entry.id)
        if first is None:
            seen[entry.id] = entry
            yield entry
        elif first._replace(place="") != entry._replace(place=""):
            flaws.append(
                Flaw(
                    _path(entry, "id"),
                    "repeated-id",
                    f"{entry.id} is also the id of {_where(first)}, which says something else",
                )
            )


def _contradictions(entries: Sequence[Entry]) -> Iterator[Flaw]:
    """Among entries of one instant."""
    claims: dict[tuple[str, str, int], tuple[bool, Entry]] = {}
    taken_out: dict[str, Entry] = {}
    decided: dict[tuple[str, str], Entry] = {}
    for entry in entries:
        if entry.said is not None:
            for aspect, value in enumerate(_about_use(entry.said)):
                key = entry.instrument, entry.said.check, aspect
                if value is None or claims.setdefault(key, (value, entry))[0] == value:
                    continue
                other = claims[key][1]
                yield _contradictory(entry, other, "they do not say the same about use")
                break
        elif entry.assessment is not None:
            for name in entry.assessment.results:
                other = decided.setdefault((entry.instrument, name), entry)
                if other.assessment and other.assessment.outcome != entry.assessment.outcome:
                    why = f"they do not say the same of the result {name}"
                    yield _contradictory(entry, other, why)
                    break
        elif entry.kind == "out-of-service":
            taken_out[entry.instrument] = entry
        elif entry.kind == "back-in-service" and entry.instrument in taken_out:
            other = taken_out[entry.instrument]
            yield _contradictory(entry, other, "it cannot be told which of them came last")


def _about_use(said: CheckSaid) -> tuple[bool | None, bool | None]:
    """Onwards and backwards; a void check may still say that the balance is not to be used."""
    if said.valid:
        return said.usable, said.lets_use_as_found
    return (False if said.fails else None), None


def _contradictory(entry: Entry, other: Entry, why: str) -> Flaw:
    return Flaw(
        _path(entry, "at"),
        "contradictory",
        f"{entry.id} and {other.id} ({_where(other)}) are of the same instant and instrument "
        f"{entry.instrument}, and {why}",
    )


def _not_in_order(before: Entry, entry: Entry) -> Flaw:
    return Flaw(
        _path(entry, "at"),
        "not-in-order",
        f"{entry.id} ({entry.at.isoformat()}) comes after {before.id} "
        f"({before.at.isoformat()}), though time order was promised",
    )


def _where(entry: Entry) -> str:
    return entry.place or "another entry"


def _path(entry: Entry, leaf: str) -> tuple[str | int, ...]:
    parts = entry.place.split("/")[1:]
    return (*(int(part) if part.isdecimal() else part for part in parts), leaf)
