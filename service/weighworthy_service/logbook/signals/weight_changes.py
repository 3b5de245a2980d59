"""Errors as found before and after a balance got other reference weights.

A step in time is only that of the weights where nothing else happened to the balance: an
adjustment, a service or a move cuts what is compared on either side.
"""

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from weighworthy_service.checks.as_found import Measured
from weighworthy_service.logbook.drift.as_found import as_found
from weighworthy_service.logbook.entries import ADJUSTING, CheckSaid, Entry

CHECKS_EACH_SIDE: Final = 5
# Balances wander; the longer ago, the less is a difference that of the weights.
_NEAR: Final = timedelta(days=60)
_SAME_LOSS: Final = 0.1


class Kind(NamedTuple):
    """What errors are of: comparable with each other, also between balances.

    `expected_loss`, in %, is the first that was seen; certificates make it differ a little.
    """

    check: str
    criterion: str
    unit: str
    load: float | None
    directions: str
    expected_loss: float | None


class Reading(NamedTuple):
    """An error as found, in g or %, and its check."""

    entry: str
    at: datetime
    value: float


@dataclass(slots=True)
class Change:
    """A change of weights on one balance, by entry, with the checks next to it on either side."""

    kind: Kind
    instrument: str
    entry: str
    at: datetime
    before: tuple[Reading, ...]
    after: list[Reading] = field(default_factory=list)


def changes(
    entries: Iterable[Entry], kinds: list[Kind], each_side: int = CHECKS_EACH_SIDE
) -> list[Change]:
    """Of one balance, whose entries come in order; on each side so many checks, within 60 days.

    `kinds` grows with what is met; the same list for all balances makes them comparable. The
    weights changed at an entry `weights-replaced`, or where a check has a weight of the same name
    with another certificate.
    """
    gathering = _Gathering(each_side, kinds)
    for entry in entries:
        gathering.take(entry)
    return [change for change in gathering.found if change.before and change.after]


@dataclass(slots=True)
class _Going:
    """One kind of error on its way through time."""

    recent: deque[Reading]
    weights: dict[str, str] = field(default_factory=dict)
    change: Change | None = None


class _Gathering:
    def __init__(self, each_side: int, kinds: list[Kind]) -> None:
        self.found: list[Change] = []
        self._each_side, self._kinds = each_side, kinds
        self._going: dict[Kind, _Going] = {}

    def take(self, entry: Entry) -> None:
        if entry.kind in ADJUSTING or entry.kind == "move":
            self._cut()
        elif entry.kind == "weights-replaced":
            for kind, going in self._going.items():
                self._change(kind, going, entry)
        elif entry.said is not None and entry.said.valid:
            for measured in as_found(entry.said):
                if measured.of_weights:
                    self._read(entry, entry.said, measured)
            if entry.said.adjusted:
                self._cut()

    def _read(self, entry: Entry, said: CheckSaid, measured: Measured) -> None:
        kind = self._kind(said.check, measured)
        going = self._going.setdefault(kind, _Going(deque(maxlen=self._each_side)))
        # The entry that said so comes first, where there is one.
        announced = going.change is not None and not going.change.after
        if _others(going.weights, said.weights) and not announced:
            self._change(kind, going, entry)
        going.weights |= said.weights
        reading = Reading(entry.id, entry.at, measured.value)
        going.recent.append(reading)
        change = going.change
        if (
            change is not None
            and len(change.after) < self._each_side
            and _near(change.at, entry.at)
        ):
            change.after.append(reading)

    def _change(self, kind: Kind, going: _Going, entry: Entry) -> None:
        before = tuple(reading for reading in going.recent if _near(reading.at, entry.at))
        going.change = Change(kind, entry.instrument, entry.id, entry.at, before)
        self.found.append(going.change)
        going.recent.clear()

    def _kind(self, check: str, measured: Measured) -> Kind:
        loss = measured.expected_loss
        kind = Kind(
            check,
            measured.criterion,
            measured.unit,
            measured.load,
            measured.directions,
            loss,
        )
        for known in self._kinds:
            if loss is None or known.expected_loss is None:
                same = known == kind
            else:
                near = abs(known.expected_loss - loss) <= _SAME_LOSS
                same = near and known == kind._replace(expected_loss=known.expected_loss)
            if same:
                return known
        self._kinds.append(kind)
        return kind

    def _cut(self) -> None:
        for going in self._going.values():
            going.change = None
            going.recent.clear()


def _near(earlier: datetime, later: datetime) -> bool:
    return later - earlier <= _NEAR


def _others(known: Mapping[str, str], used: Mapping[str, str]) -> bool:
    return any(known[name] != text for name, text in used.items() if name in known)
