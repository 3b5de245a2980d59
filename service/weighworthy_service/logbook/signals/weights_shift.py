"""Whether all balances moved alike when their weights were changed: then it was the weights."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import fsum, sqrt
from typing import Final, Literal, NamedTuple

from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.signals.common_shift import (
    Common,
    Shift,
    chance_of_scatter,
    chance_of_signs,
    chance_without_any,
    common,
)
from weighworthy_service.logbook.signals.holm import holm
from weighworthy_service.logbook.signals.weight_changes import (
    CHECKS_EACH_SIDE,
    Change,
    Kind,
    Reading,
    changes,
)
from weighworthy_service.metrology.instrument import Instrument

# Weekly and monthly checks meet the new weights in the days after the change.
_SAME_CHANGE: Final = timedelta(days=31)
_LEAST_BALANCES: Final = 3
_LEAST_CHECKS: Final = 2

Word = Literal["the-weights", "not-alike", "one-balance", "no-common-shift", "too-few"]
_SAYS: Final[Mapping[Word, str]] = {
    "the-weights": "this fits a change of the weights; no balance by itself explains it",
    "not-alike": "they moved together, but not by the same amount: the weights are not all of it",
    "one-balance": "the shift rests on one balance alone",
    "no-common-shift": "no common shift is seen",
    "too-few": "too few balances to tell the weights from the balances",
}


class BalanceShift(NamedTuple):
    """Mean error as found after the change minus before, g or %, on one balance.

    `change`: the entry that says so; `entries`: the checks compared, before and after.
    """

    instrument: str
    change: str
    shift: Shift
    before: int
    after: int
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeightsShift:
    """One kind of error on all balances whose weights changed within 31 days.

    `common`: mean shift; its `adjusted` chance counts all kinds and changes looked at.
    `chance_scatter`: of the scatter about it if all moved alike; `chance_signs`: of the signs;
    `chance_without_any`: of the mean without the balance that matters most. None: too few.
    """

    word: Word
    kind: Kind
    first: str
    balances: tuple[BalanceShift, ...]
    common: Common | None
    adjusted: float | None
    chance_scatter: float | None
    chance_signs: float | None
    chance_without_any: float | None
    sentence: str


def weights_shifts(
    logs: Mapping[str, Sequence[Entry]],
    instruments: Mapping[str, Instrument],
    level: float = 0.05,
    each_side: int = CHECKS_EACH_SIDE,
) -> tuple[WeightsShift, ...]:
    """`logs`: entries in order, by balance; in order of time, then by kind.

    A shift has the pooled standard deviation of the checks on either side, not below that of the
    rounding where the scale interval is known. Holm's correction over all common shifts.
    """
    groups = list(_groups(logs, each_side))
    shifts = [_shifts(group, instruments) for group in groups]
    enough = [i for i, balances in enumerate(shifts) if len(balances) >= _LEAST_BALANCES]
    means = {i: common([b.shift for b in shifts[i]]) for i in enough}
    adjusted = dict(zip(enough, holm([means[i].chance for i in enough]), strict=True))
    return tuple(
        _judged(group, shifts[i], means.get(i), adjusted.get(i), level)
        for i, group in enumerate(groups)
        if shifts[i]
    )


def _groups(logs: Mapping[str, Sequence[Entry]], each_side: int) -> Iterator[list[Change]]:
    """Changes of one kind of error that belong together: one set, met in the days after it came."""
    kinds: list[Kind] = []
    found = [change for entries in logs.values() for change in changes(entries, kinds, each_side)]
    found.sort(key=lambda c: (c.at, c.kind.check, c.kind.load or 0, c.instrument))
    going: dict[Kind, list[Change]] = {}
    groups: list[list[Change]] = []
    for change in found:
        group = going.get(change.kind)
        known = group is not None and change.at - group[0].at <= _SAME_CHANGE
        if group is None or not known or change.instrument in {c.instrument for c in group}:
            group = going[change.kind] = []
            groups.append(group)
        group.append(change)
    yield from groups


def _shifts(
    group: Sequence[Change], instruments: Mapping[str, Instrument]
) -> tuple[BalanceShift, ...]:
    found = []
    for change in group:
        before, after = change.before, change.after
        if min(len(before), len(after)) < _LEAST_CHECKS:
            continue
        shift = _shift(before, after, _rounding(change.kind, instruments.get(change.instrument)))
        if shift is not None:
            ids = tuple(reading.entry for reading in (*before, *after))
            found.append(
                BalanceShift(change.instrument, change.entry, shift, len(before), len(after), ids)
            )
    return tuple(found)


def _shift(before: Sequence[Reading], after: Sequence[Reading], least: float) -> Shift | None:
    """None: the errors do not scatter at all, which says nothing of how far to trust them."""
    means, squares = [], 0.0
    for side in (before, after):
        mean = fsum(reading.value for reading in side) / len(side)
        squares += fsum((reading.value - mean) ** 2 for reading in side)
        means.append(mean)
    degrees = len(before) + len(after) - 2
    deviation = max(sqrt(squares / degrees), least)
    if deviation == 0:
        return None
    u = deviation * sqrt(1 / len(before) + 1 / len(after))
    return Shift(means[1] - means[0], u, degrees)


def _rounding(kind: Kind, balance: Instrument | None) -> float:
    """What rounding alone makes one error scatter, in its unit."""
    if balance is None:
        return 0.0
    step = float(balance.scale_interval) / sqrt(12)
    if kind.unit == "g":
        return step
    # A loss in % is read twice; both at the initial load, or less, which counts more.
    return 100 * step / kind.load if kind.load else 0.0


def _judged(
    group: Sequence[Change],
    balances: tuple[BalanceShift, ...],
    mean: Common | None,
    adjusted: float | None,
    level: float,
) -> WeightsShift:
    kind, first = group[0].kind, group[0]
    shifts = [b.shift for b in balances]
    scatter = signs = without = None
    word: Word = "too-few"
    if mean is not None and adjusted is not None:
        scatter, signs = chance_of_scatter(shifts), chance_of_signs(shifts)
        without = chance_without_any(shifts)
        word = _word(adjusted, scatter, without, level)
    load = "" if kind.load is None else f" at {kind.load:g} g"
    sentence = f"{kind.criterion}{load} on {len(balances)} balances after the change of weights on "
    sentence += f"{first.at.date()}: "
    if mean is not None and adjusted is not None:
        sentence += (
            f"mean shift {_told(mean.value, kind.unit)}, standard uncertainty "
            f"{_told(mean.u, kind.unit)} (chance {adjusted:.2g}; of the scatter about it "
            f"{scatter:.2g}); "
        )
    return WeightsShift(
        word,
        kind,
        first.entry,
        balances,
        mean,
        adjusted,
        scatter,
        signs,
        without,
        f"{sentence}{_SAYS[word]}.",
    )


def _word(adjusted: float, scatter: float, without: float, level: float) -> Word:
    if adjusted > level:
        return "no-common-shift"
    if without > level:
        return "one-balance"
    return "the-weights" if scatter > level else "not-alike"


def _told(value: float, unit: str) -> str:
    return f"{1000 * value:.2g} mg" if unit == "g" else f"{value:.2g} {unit}"
