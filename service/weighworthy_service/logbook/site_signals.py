"""What only several balances, or many checks together, show, in the form of the answer.

Findings with their statistics: none of them says who or what is at fault.
"""

from collections.abc import Iterable
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.logbook.book import Book, by_instrument
from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.signals.due_weights import DueWeight, due_weights
from weighworthy_service.logbook.signals.equal_readings import EqualReadings, equal_readings
from weighworthy_service.logbook.signals.void_share import VoidShare, void_shares
from weighworthy_service.logbook.signals.weights_shift import (
    BalanceShift,
    WeightsShift,
    weights_shifts,
)
from weighworthy_service.logbook.telling import told_instant


def site_signals(
    book: Book, entries: Iterable[Entry], due_within: int
) -> tuple[dict[str, Any], int]:
    """All that was looked at, what stands out first; and how many entries there were.

    `due_within`: days before its due date from which a weight in use is told.
    """
    logs = by_instrument(entries)
    balances = {name: book.balance(name) for name in sorted(logs)}
    ordered = {name: logs[name] for name in balances}
    known = {name: one.instrument for name, one in balances.items() if one.interval_known}
    moved = weights_shifts(ordered, known)
    void = void_shares(ordered)
    equal = equal_readings(ordered, known)
    due = due_weights(ordered, book.at, due_within)
    telling = [
        *(one.sentence for one in moved if one.word == "the-weights"),
        *(one.sentence for one in void if one.stands_out),
        *(one.sentence for one in equal if one.stands_out),
        *(one.sentence for one in due),
    ]
    signals = "signal" if len(telling) == 1 else "signals"
    instruments = "instrument" if len(ordered) == 1 else "instruments"
    told = {
        "summary": {
            "signals": len(telling),
            "sentence": f"{len(telling)} {signals} among {len(ordered)} {instruments}",
            "sentences": telling,
        },
        "weights": [_moved(one) for one in moved],
        "void_shares": [_void(one) for one in void],
        "equal_readings": [_equal(one) for one in equal],
        "due_weights": [_due(one) for one in due],
    }
    return told, sum(map(len, logs.values()))


def _moved(one: WeightsShift) -> dict[str, Any]:
    kind, mean = one.kind, one.common
    return {
        "conclusion": one.word,
        "check": kind.check,
        "criterion": kind.criterion,
        "unit": kind.unit,
        "load": number(kind.load),
        "first_change": one.first,
        "shift": None if mean is None else number(mean.value),
        "standard_uncertainty": None if mean is None else number(mean.u),
        "chance": None if mean is None else number(mean.chance),
        "adjusted": number(one.adjusted),
        "chance_scatter": number(one.chance_scatter),
        "chance_signs": number(one.chance_signs),
        "chance_without_any": number(one.chance_without_any),
        "balances": [_balance(balance) for balance in one.balances],
        "sentence": one.sentence,
    }


def _balance(one: BalanceShift) -> dict[str, Any]:
    return {
        "instrument": one.instrument,
        "change": one.change,
        "shift": number(one.shift.value),
        "standard_uncertainty": number(one.shift.u),
        "before": one.before,
        "after": one.after,
        "entries": list(one.entries),
    }


def _void(one: VoidShare) -> dict[str, Any]:
    return {
        "side": one.side,
        "group": one.group,
        "void": one.void,
        "checks": one.checks,
        "void_others": one.void_others,
        "checks_others": one.checks_others,
        "would_have_failed": one.would_have_failed,
        "chance": number(one.chance),
        "adjusted": number(one.adjusted),
        "stands_out": one.stands_out,
        "entries": list(one.entries),
        "sentence": one.sentence,
    }


def _equal(one: EqualReadings) -> dict[str, Any]:
    others = one.others or (None, None)
    return {
        "what": one.what,
        "instrument": one.instrument,
        "check": one.check,
        "person": one.person,
        "equal": one.equal,
        "of": one.of,
        "chance_two": number(one.chance_two),
        "chance": number(one.chance),
        "adjusted": number(one.adjusted),
        "stands_out": one.stands_out,
        "equal_others": others[0],
        "pairs_others": others[1],
        "entries": list(one.entries),
        "sentence": one.sentence,
    }


def _due(one: DueWeight) -> dict[str, Any]:
    return {
        "state": one.state,
        "weight": one.weight,
        "due_on": one.due_on.isoformat(),
        "days_left": one.days_left,
        "instruments": list(one.instruments),
        "last_used": told_instant(one.last_used),
        "entries": list(one.entries),
        "sentence": one.sentence,
    }
