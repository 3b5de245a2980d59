"""Which results are supported: by every kind of check that is required, before and after.

A result at the instant of an entry lies before it. For each kind two things count: how the
instrument stood as to it when the result was measured (`standing`), and what follows
(`following`). Kinds that are not required count where they failed. The worst kind decides, and is
named; a passing check of one kind never makes up for a failed one of another. What is in doubt
stays so whatever a repeat says: only an assessment closes it.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from weighworthy_service.logbook.calendar import Calendar
from weighworthy_service.logbook.entries import Entry, Result
from weighworthy_service.logbook.following import Backwards, Following
from weighworthy_service.logbook.kind_support import Preceding
from weighworthy_service.logbook.needs import NEEDS, STATES
from weighworthy_service.logbook.requirements import Requirement
from weighworthy_service.logbook.result_support import Judge, ResultSupport
from weighworthy_service.logbook.standing import Standing


def support_of(
    requirements_by_method: Mapping[str | None, Sequence[Requirement]],
    calendar: Calendar | None,
    entries: Iterable[Entry],
    results: Sequence[Result],
    at: datetime,
) -> tuple[ResultSupport, ...]:
    """The support of results of one instrument, in the order they came; entries after `at` do not
    count.

    `requirements_by_method` has every method that a result names, and None for those without.
    `entries` are in order (`ordering`) and of this instrument. Two sweeps: linear in both.

    Raises:
        SenseError: a schedule needs a calendar, and there is none.
    """
    log = [entry for entry in entries if entry.at <= at]
    order = sorted(range(len(results)), key=lambda i: (results[i].at, results[i].id))
    methods = {results[i].method for i in order}
    standings = {m: Standing(requirements_by_method[m], calendar) for m in methods}
    kinds = {entry.said.check for entry in log if entry.said is not None}
    kinds |= {one.check for m in methods for one in requirements_by_method[m]}
    later = _following(log, [results[i].at for i in order], kinds)
    judge = Judge(log)
    preceding = Preceding()
    found: dict[int, ResultSupport] = {}
    position = 0
    for i, following in zip(order, later, strict=True):
        result = results[i]
        while position < len(log) and log[position].at < result.at:
            for standing in standings.values():
                standing.take(log[position])
            preceding.take(log[position])
            position += 1
        found[i] = judge.support(result, standings[result.method], preceding, following)
    return tuple(found[i] for i in range(len(results)))


def _following(
    log: Sequence[Entry], instants: Sequence[datetime], kinds: Iterable[str]
) -> list[dict[str, Following]]:
    """What follows each instant; an entry at the instant itself does."""
    backwards = Backwards(kinds)
    found = []
    position = len(log)
    for instant in reversed(instants):
        while position and log[position - 1].at >= instant:
            position -= 1
            backwards.take(log[position])
        found.append(backwards.now())
    return found[::-1]


def summary(supports: Sequence[ResultSupport]) -> dict[str, Any]:
    """How many results are in which state and need what, and a sentence."""
    states = Counter(one.state for one in supports)
    needed = Counter(one.needs for one in supports)
    whole = len(supports)
    verb = _verb(1 if whole == 1 else needed["action"])
    said = [f"{needed['action']} of {whole} {_noun(whole)} {verb} action"]
    if needed["assessment"]:
        said.append(f"{needed['assessment']} {_verb(needed['assessment'])} an assessment")
    said += [f"{states[state]} {state}" for state in STATES if states[state]]
    return {
        "results": whole,
        "states": {state: states[state] for state in STATES},
        "needs": {need: needed[need] for need in NEEDS},
        "assessed": sum(one.assessed is not None for one in supports),
        "sentence": "; ".join(said),
    }


def _noun(count: int) -> str:
    return "result" if count == 1 else "results"


def _verb(count: int) -> str:
    return "needs" if count == 1 else "need"
