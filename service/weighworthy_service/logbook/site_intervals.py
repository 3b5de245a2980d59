"""Whether checks are done often enough, balance by balance and all alike together."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from math import inf
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.logbook.book import Book, by_instrument
from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.intervals import Advice, advise
from weighworthy_service.logbook.reliability import Bounds
from weighworthy_service.logbook.requirements import Requirement, Scheduled
from weighworthy_service.logbook.telling import told_because
from weighworthy_service.logbook.trials import History, history, interval_of
from weighworthy_service.wire.logbook_intervals import WORDS


def site_intervals(
    book: Book, entries: Iterable[Entry], reliability: float
) -> tuple[dict[str, Any], int]:
    """Advice on every required kind of check of every instrument; and how many entries there were.

    Balances of one model under the same schedules are also taken together: one alone seldom fails
    often enough to tell. `reliability`: wanted share in tolerance, in (0, 1).
    """
    logs = by_instrument(entries, book.names)
    alone: list[dict[str, Any]] = []
    groups: dict[_Group, dict[str, History]] = defaultdict(dict)
    required: dict[_Group, Requirement] = {}
    for name in sorted(logs):
        for one in book.required(name):
            if not one.required:
                continue
            mine = history(logs[name], one.check, one.occasions)
            group = (one.check, book.balance(name).instrument.model, one.schedules)
            groups[group][name] = mine
            required[group] = one
            alone.append(_told(one, [name], _advice({name: mine}, one, reliability)))
    together = [
        _told(required[group], list(members), _advice(members, required[group], reliability))
        for group, members in groups.items()
        if len(members) > 1
    ]
    words = Counter(one["advice"] for one in alone)
    said = ", ".join(f"{words[word]} {word}" for word in WORDS if words[word]) or "none"
    told = {
        "summary": {
            "intervals": len(alone),
            **{word.replace("-", "_"): words[word] for word in WORDS},
            "sentence": f"{len(alone)} intervals: {said}",
        },
        "reliability": number(reliability),
        "intervals": alone,
        "together": together,
    }
    return told, sum(map(len, logs.values()))


_Group = tuple[str, str | None, tuple[Scheduled, ...]]


def _advice(members: dict[str, History], one: Requirement, reliability: float) -> Advice:
    return advise(members, interval_of(one), reliability, occasions=one.occasions)


def _told(one: Requirement, names: list[str], advice: Advice) -> dict[str, Any]:
    return {
        "check": one.check,
        "instruments": names,
        "rules": [scheduled.place for scheduled in one.schedules],
        "advice": advice.advice,
        "current": _hours(advice.current),
        "proposed": _hours(advice.proposed),
        "trials": advice.trials,
        "failures": advice.failures,
        "share": _bounds(advice.share),
        "reliability": _bounds(advice.reliability),
        "keeps": _bounds(advice.keeps, 3600),
        "alike": number(advice.alike),
        "reasons": list(advice.reasons),
        "because": told_because(advice.because),
    }


def _hours(seconds: float | None) -> float | int | None:
    return None if seconds is None or seconds == inf else number(seconds / 3600)


def _bounds(bounds: Bounds | None, per: float = 1) -> dict[str, Any] | None:
    if bounds is None:
        return None
    return {name: number(value / per) for name, value in bounds._asdict().items()}
