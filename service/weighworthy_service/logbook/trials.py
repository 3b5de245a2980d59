"""From the entries of a balance to trials: intervals that began in tolerance, and their ends."""

from collections.abc import Collection, Iterable
from datetime import datetime
from types import MappingProxyType
from typing import Final, Literal, NamedTuple

from weighworthy_service.logbook.entries import ADJUSTING, OCCASION_OF, Entry
from weighworthy_service.logbook.reliability import Trial
from weighworthy_service.logbook.requirements import Requirement
from weighworthy_service.metrology.quantity import read_quantity

DAY: Final = 86_400.0
_PERIODS: Final = MappingProxyType(
    {"day": DAY, "week": 7 * DAY, "month": 365.25 / 12 * DAY, "year": 365.25 * DAY}
)


class Apart(NamedTuple):
    """A valid check that is no trial, why, and the entry that asked for it or shares its time."""

    entry: str
    why: Literal["after-event", "not-from-tolerance", "no-time-between", "says-nothing-before"]
    event: str | None = None


class History(NamedTuple):
    """What the valid checks of a kind on one balance say of its interval, each in one of both."""

    trials: tuple[Trial, ...]
    apart: tuple[Apart, ...] = ()


def interval_of(requirement: Requirement) -> float | None:
    """The regular interval in s, the shortest of several; None: only events ask for the check.

    A month counts 365.25/12 days; which days are worked does not matter here.
    """
    stated = [one.schedule.every for one in requirement.schedules if one.schedule.every]
    lengths = [
        _PERIODS[every] if every in _PERIODS else float(read_quantity(every, "time"))
        for every in stated
    ]
    return min(lengths, default=None)


def history(
    entries: Iterable[Entry], check: str, occasions: Collection[str] = frozenset()
) -> History:
    """Of one balance, whose entries come in order.

    An interval begins with what left the balance in tolerance: a valid usable check of the kind, or
    an adjustment or service. It ends with the next valid check of the kind that says something of
    the time before it. `occasions`: after which the schedule asks for the check.
    """
    trials: list[Trial] = []
    apart: list[Apart] = []
    since: tuple[str, datetime] | None = None
    event: str | None = None
    for entry in entries:
        if entry.kind in ADJUSTING:
            since = entry.id, entry.at
        if OCCASION_OF.get(entry.kind) in occasions:
            event = entry.id
        said = entry.said
        if said is None or said.check != check or not said.valid:
            continue
        if said.lets_use_as_found is None:
            apart.append(Apart(entry.id, "says-nothing-before", event))
        elif event is not None:
            apart.append(Apart(entry.id, "after-event", event))
        elif since is None:
            apart.append(Apart(entry.id, "not-from-tolerance"))
        elif entry.at <= since[1]:
            apart.append(Apart(entry.id, "no-time-between", since[0]))
        else:
            elapsed = (entry.at - since[1]).total_seconds()
            trials.append(Trial(entry.id, since[0], elapsed, said.lets_use_as_found))
        since = (entry.id, entry.at) if said.usable else None
        event = None
    return History(tuple(trials), tuple(apart))
