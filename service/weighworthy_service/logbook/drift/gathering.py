"""From the entries of one instrument to its series, in one pass."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from math import floor
from typing import Final, NamedTuple

from weighworthy_service.checks.as_found import Measured
from weighworthy_service.logbook.drift.as_found import as_found
from weighworthy_service.logbook.drift.series import CUTTING, Cut, Point, Series, SeriesKey
from weighworthy_service.logbook.entries import CheckSaid, Entry

# Simulated losses whose expected losses, in %, differ by no more than certificates do are of one
# series.
_SAME_LOSS: Final = 0.1


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
    gathering.end_all(None)
    # Sorting keeps the order of time among equal keys.
    series = sorted(gathering.all, key=lambda one: _order(one.key))
    return Gathered(tuple(series), *gathering.left_out.told(), later)


def _order(key: SeriesKey) -> tuple[str, str, float, str, float]:
    return (key.check, key.criterion, key.load or 0, key.directions, key.expected_loss or 0)


_Told = tuple[tuple[str, ...], tuple[str, ...]]


class _LeftOut(NamedTuple):
    """Checks that give no point, by entry."""

    void: list[str]
    without_value: list[str]

    def told(self) -> _Told:
        return tuple(self.void), tuple(self.without_value)


class _Gathering:
    """One pass over the entries of an instrument, in time and memory in proportion to them."""

    def __init__(self) -> None:
        self.all: list[Series] = []
        self.left_out = _LeftOut([], [])
        self._cut: Cut | None = None
        self._going: dict[SeriesKey, Series] = {}
        # How many were left out before a series that other weights began.
        self._before: dict[SeriesKey, tuple[int, ...]] = {}
        self._losses: dict[tuple[SeriesKey, int], SeriesKey] = {}
        # Of each kind of check since the last cut.
        self._left_out: defaultdict[str, _LeftOut] = defaultdict(lambda: _LeftOut([], []))

    def take(self, entry: Entry) -> None:
        if entry.kind in CUTTING:
            self.end_all(Cut(entry.id, entry.at, entry.kind))
        elif entry.said is not None:
            self._check(entry, entry.said)
            if entry.said.adjusted:
                self.end_all(Cut(entry.id, entry.at, "adjusted-in-check"))

    def end_all(self, cut: Cut | None) -> None:
        # All series of a kind that began at the last cut share what was left out since.
        shared = {check: out.told() for check, out in self._left_out.items()}
        for series in self._going.values():
            self._end(series, cut, shared)
        self._going.clear()
        self._losses.clear()
        self._left_out.clear()
        self._cut = cut

    def _check(self, entry: Entry, said: CheckSaid) -> None:
        if said.verdict == "void":
            self.left_out.void.append(entry.id)
            self._left_out[said.check].void.append(entry.id)
            return
        found = as_found(said)
        if not found:
            self.left_out.without_value.append(entry.id)
            self._left_out[said.check].without_value.append(entry.id)
        for measured in found:
            self._add(entry, said, measured)

    def _add(self, entry: Entry, said: CheckSaid, measured: Measured) -> None:
        key = self._key(said.check, measured)
        series = self._going.get(key)
        if series is None:
            series = self._begin(Series(key, self._cut))
        elif _others(series.weights, said.weights):
            cut = Cut(entry.id, entry.at, "other-weights")
            so_far = self._left_out[said.check].told()
            self._end(series, cut, {said.check: so_far})
            series = self._begin(Series(key, cut))
            self._before[key] = tuple(len(ids) for ids in so_far)
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

    def _begin(self, series: Series) -> Series:
        self._going[series.key] = series
        self.all.append(series)
        return series

    def _end(self, series: Series, cut: Cut | None, left_out: Mapping[str, _Told]) -> None:
        series.ended = cut
        void, without_value = left_out.get(series.key.check, ((), ()))
        before = self._before.pop(series.key, (0, 0))
        # A slice of a whole tuple is that tuple itself.
        series.void, series.without_value = void[before[0] :], without_value[before[1] :]

    def _key(self, check: str, measured: Measured) -> SeriesKey:
        loss = measured.expected_loss
        bare = SeriesKey(
            check, measured.criterion, measured.unit, measured.load, measured.directions, None
        )
        if loss is None:
            return bare
        # Two losses in one cell are near enough, and none that is near lies beyond the next cells.
        cell = floor(loss / _SAME_LOSS)
        for near in (cell - 1, cell, cell + 1):
            known = self._losses.get((bare, near))
            if known is not None and abs((known.expected_loss or 0) - loss) <= _SAME_LOSS:
                return known
        return self._losses.setdefault((bare, cell), bare._replace(expected_loss=loss))


def _others(known: Mapping[str, str], used: Mapping[str, str]) -> bool:
    """Whether a check used other weights; not, where it is not known which."""
    if not known or not used:
        return False
    common = known.keys() & used.keys()
    return not common or any(known[name] != used[name] for name in common)
