"""From the entries of one instrument to series of errors as found that belong together.

A series ends where the balance or its reference became another one: at an adjustment or a service,
at a check that adjusted (after its own reading as found), at a move (gravity and level changed), at
new weights, and at a check with other weights than the last of its series: none in common, or one
of the same name with another certificate. A trend across such a cut would be wrong. A power-off, a
cleaning, and time out of service do not cut by themselves: what they did is what a chart shows.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, NamedTuple

from weighworthy_service.logbook.drift.as_found import Measured, as_found
from weighworthy_service.logbook.entries import ADJUSTING, CheckSaid, Entry

CUTTING: Final = ADJUSTING | {"move", "weights-replaced"}
# Simulated losses whose expected losses, in %, differ by no more than certificates do are of one
# series.
_SAME_LOSS: Final = 0.1


class SeriesKey(NamedTuple):
    """What a series is about; fields as in `Measured`. `expected_loss` is that of its first."""

    check: str
    criterion: str
    unit: str
    load: float | None
    directions: str
    expected_loss: float | None


class Point(NamedTuple):
    """An error as found, in g or %, and the check entry that says it."""

    entry: str
    at: datetime
    value: float
    expanded_uncertainty: float | None
    lower_limit: float | None
    upper_limit: float | None


class Cut(NamedTuple):
    """Where a series begins or ends. The check that adjusted ends a series as its last point.

    `why`: the kind of an entry that cuts, `adjusted-in-check`, or `other-weights`.
    """

    entry: str
    at: datetime
    why: str


@dataclass(slots=True)
class Series:
    """Points in order of time, between two cuts; None: the beginning, or still going on.

    `void` and `without_value` are checks of the kind in between, by entry, which give no point:
    void ones, and valid ones that say no error as found.
    """

    key: SeriesKey
    began: Cut | None
    ended: Cut | None = None
    points: list[Point] = field(default_factory=list)
    void: list[str] = field(default_factory=list)
    without_value: list[str] = field(default_factory=list)
    weights: dict[str, str] = field(default_factory=dict)


class Gathered(NamedTuple):
    """All series of an instrument by key and time, and by entry the checks that are in none.

    `later`: how many entries come after the instant that was asked about.
    """

    series: tuple[Series, ...]
    void: tuple[str, ...]
    without_value: tuple[str, ...]
    later: int


def gather(entries: Iterable[Entry], at: datetime | None = None) -> Gathered:
    """Series of one instrument, whose entries come in order of time."""
    gathering = _Gathering()
    later = 0
    for entry in entries:
        if at is not None and entry.at > at:
            later += 1
        else:
            gathering.take(entry)
    # Sorting keeps the order of time among equal keys.
    series = sorted(gathering.all, key=lambda one: _order(one.key))
    return Gathered(tuple(series), tuple(gathering.void), tuple(gathering.without_value), later)


def _order(key: SeriesKey) -> tuple[str, str, float, str, float]:
    return (key.check, key.criterion, key.load or 0, key.directions, key.expected_loss or 0)


class _Gathering:
    """One pass over the entries of an instrument."""

    def __init__(self) -> None:
        self.all: list[Series] = []
        self.void: list[str] = []
        self.without_value: list[str] = []
        self._going: dict[SeriesKey, Series] = {}
        # Of each kind of check since the last cut, for series that begin only later.
        self._cut: Cut | None = None
        self._left_out: dict[str, tuple[list[str], list[str]]] = {}

    def take(self, entry: Entry) -> None:
        if entry.kind in CUTTING:
            self._end_all(Cut(entry.id, entry.at, entry.kind))
        elif entry.said is not None:
            self._check(entry, entry.said)
            if entry.said.adjusted:
                self._end_all(Cut(entry.id, entry.at, "adjusted-in-check"))

    def _check(self, entry: Entry, said: CheckSaid) -> None:
        if said.verdict == "void":
            self._leave_out(entry, said.check, 0)
            return
        found = as_found(said)
        if not found:
            self._leave_out(entry, said.check, 1)
        for measured in found:
            self._add(entry, said, measured)

    def _leave_out(self, entry: Entry, check: str, which: int) -> None:
        (self.void, self.without_value)[which].append(entry.id)
        self._left_out.setdefault(check, ([], []))[which].append(entry.id)
        for series in self._going.values():
            if series.key.check == check:
                (series.void, series.without_value)[which].append(entry.id)

    def _add(self, entry: Entry, said: CheckSaid, measured: Measured) -> None:
        series = self._series(self._key(said.check, measured), self._cut)
        if _others(series.weights, said.weights):
            cut = Cut(entry.id, entry.at, "other-weights")
            series.ended = cut
            del self._going[series.key]
            series = self._series(series.key, cut)
        series.weights |= said.weights
        series.points.append(
            Point(
                entry.id,
                entry.at,
                measured.value,
                measured.expanded_uncertainty,
                measured.lower_limit,
                measured.upper_limit,
            )
        )

    def _series(self, key: SeriesKey, began: Cut | None) -> Series:
        if key not in self._going:
            series = self._going[key] = Series(key, began)
            self.all.append(series)
            if began is self._cut:
                void, without_value = self._left_out.get(key.check, ((), ()))
                series.void.extend(void)
                series.without_value.extend(without_value)
        return self._going[key]

    def _key(self, check: str, measured: Measured) -> SeriesKey:
        key = SeriesKey(
            check,
            measured.criterion,
            measured.unit,
            measured.load,
            measured.directions,
            measured.expected_loss,
        )
        if key.expected_loss is None or key in self._going:
            return key
        for known in self._going:
            if known.expected_loss is None:
                continue
            near = abs(known.expected_loss - key.expected_loss) <= _SAME_LOSS
            if near and known._replace(expected_loss=None) == key._replace(expected_loss=None):
                return known
        return key

    def _end_all(self, cut: Cut) -> None:
        for series in self._going.values():
            series.ended = cut
        self._going.clear()
        self._left_out.clear()
        self._cut = cut


def _others(known: Mapping[str, str], used: Mapping[str, str]) -> bool:
    """Whether a check used other weights; not, where it is not known which."""
    if not known or not used:
        return False
    common = known.keys() & used.keys()
    return not common or any(known[name] != used[name] for name in common)
