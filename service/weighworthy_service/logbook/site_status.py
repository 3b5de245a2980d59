"""How all instruments of a logbook stand at its moment."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from weighworthy_service.logbook.book import Book
from weighworthy_service.logbook.calendar import Calendar
from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.kind_standing import KindStatus
from weighworthy_service.logbook.ladder import NextStep
from weighworthy_service.logbook.standing import Standing
from weighworthy_service.logbook.status import status_of
from weighworthy_service.logbook.telling import (
    judged_otherwise,
    told_because,
    told_findings,
    told_instant,
)
from weighworthy_service.wire.logbook_answers import STATES


def site_status(
    book: Book, entries: Iterable[Entry], calendar: Calendar | None
) -> tuple[list[dict[str, Any]], int]:
    """Every instrument that is listed or has entries, by id, in the form of the answer; and how
    many entries there were. One pass over entries in order.

    Raises:
        SenseError: a schedule needs a calendar, and there is none.
    """
    standings = {name: Standing(book.required(name), calendar) for name in book.names}
    count = 0
    for entry in entries:
        count += 1
        standing = standings.get(entry.instrument)
        if standing is None:
            standing = Standing(book.required(entry.instrument), calendar)
            standings[entry.instrument] = standing
        standing.take(entry)
    told = [_told(book, name, standings[name]) for name in sorted(standings)]
    return told, count


def summary_of(instruments: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """How many instruments are in which state."""
    states = Counter(one["state"] for one in instruments)
    whole = len(instruments)
    usable = states["in-service"]
    rest = [f"{states[state]} {state}" for state in STATES[1:] if states[state]]
    sentence = f"{usable} of {whole} may be used"
    return {
        "instruments": whole,
        **{state.replace("-", "_"): states[state] for state in STATES},
        "sentence": "; ".join([sentence, *rest]),
    }


def _told(book: Book, name: str, standing: Standing) -> dict[str, Any]:
    status = status_of(standing, book.at)
    taken_out = standing.out_by_entry
    resting = [standing.last_passed(one.check) for one in status.kinds]
    balance = book.balance(name).instrument
    return {
        "instrument": name,
        "model": balance.model,
        "site": balance.site,
        "state": status.state,
        "usable": status.usable,
        "taken_out": taken_out.id if taken_out else None,
        "since": told_instant(status.since),
        "until": told_instant(status.until),
        "because": told_because(status.because),
        "next_step": _step(status.next_step),
        "checks": [_kind(one) for one in status.kinds],
        "findings": told_findings([*status.findings, *judged_otherwise(book, resting)]),
    }


def _kind(one: KindStatus) -> dict[str, Any]:
    return {
        "check": one.check,
        "required": one.required,
        "state": one.state,
        "since": told_instant(one.since),
        "due_at": told_instant(one.due_at),
        "overdue_at": told_instant(one.overdue_at),
        "last_passed": one.last_passed,
        "next_step": _step(one.next_step),
        "because": told_because(one.because),
    }


def _step(step: NextStep) -> dict[str, Any]:
    return {
        "step": step.step,
        "check": step.check,
        "by": told_instant(step.by),
        "tries_done": step.tries_done,
        "tries_allowed": step.tries_allowed,
        "sentence": step.sentence,
        "because": told_because(step.because),
    }
