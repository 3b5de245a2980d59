"""Reference weights that are past their due date, or soon will be."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from weighworthy_service.logbook.entries import Entry

DUE_WITHIN = 30
USED_WITHIN = 92


@dataclass(frozen=True, slots=True)
class DueWeight:
    """A weight in use, by name, and its certificate's day. `days_left`: below 0 past it.

    `entries`: the last check with it on each balance; `last_used`: of all of them.
    """

    state: Literal["past-due", "due-soon"]
    weight: str
    due_on: date
    days_left: int
    instruments: tuple[str, ...]
    last_used: datetime
    entries: tuple[str, ...]
    sentence: str


def due_weights(
    logs: Mapping[str, Sequence[Entry]],
    at: datetime,
    within: int = DUE_WITHIN,
    used_within: int = USED_WITHIN,
) -> tuple[DueWeight, ...]:
    """Of weights used in the last so many days before `at`, by the day they are due.

    The due day itself is inside, as in a check; the offset of `at` says which day it is. A weight
    is known by its name and due date, and the last check with it on a balance counts: so a new
    certificate clears the old one. Weights without a stated due date are not looked at.
    """
    today = at.date()
    last: dict[tuple[str, str], tuple[date, Entry]] = {}
    for name, entries in logs.items():
        for entry in entries:
            if entry.said is None or entry.at > at or at - entry.at > timedelta(days=used_within):
                continue
            for weight, due in entry.said.weights_due.items():
                last[name, weight] = date.fromisoformat(due), entry
    same: dict[tuple[date, str], list[tuple[str, Entry]]] = {}
    for (name, weight), (day, entry) in last.items():
        if (day - today).days <= within:
            same.setdefault((day, weight), []).append((name, entry))
    return tuple(_said(weight, day, today, uses) for (day, weight), uses in sorted(same.items()))


def _said(weight: str, day: date, today: date, uses: list[tuple[str, Entry]]) -> DueWeight:
    left = (day - today).days
    names = tuple(sorted(name for name, _ in uses))
    when = f"was due on {day}" if left < 0 else f"is due on {day}"
    return DueWeight(
        "past-due" if left < 0 else "due-soon",
        weight,
        day,
        left,
        names,
        max(entry.at for _, entry in uses),
        tuple(entry.id for _, entry in sorted(uses, key=lambda use: use[0])),
        f"The weight {weight} {when}; it is used on {', '.join(names)}.",
    )
