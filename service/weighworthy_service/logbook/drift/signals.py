"""What control charts say of a series: every test with its rate of false alarms, and its signals.

Run rules and moving ranges look at all points, also at those of the baseline: one that was not
settled is no baseline. EWMA and CUSUM begin at its centre with the first point after it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from weighworthy_service.logbook.drift.charts import (
    Averages,
    Baseline,
    Sums,
    cusum,
    ewma,
    moving_ranges,
)
from weighworthy_service.logbook.drift.run_rules import RunRule, firings
from weighworthy_service.logbook.drift.series import Point


class Tested(NamedTuple):
    """A test that a series went through. `false_alarms`: per point, for independent normal values
    about a centre and with a sigma that are exactly known.
    """

    test: str
    words: str
    false_alarms: float


class Signal(NamedTuple):
    """A test spoke at the check `entry`, on the ground of `entries` (that one included).

    `lasts`: at how many points in a row it spoke.
    """

    test: str
    entry: str
    entries: tuple[str, ...]
    lasts: int


@dataclass(frozen=True, slots=True)
class Charted:
    """`averages` and `sums` are of the points after the baseline; None: there are none."""

    baseline: Baseline
    averages: Averages | None
    sums: Sums | None
    tests: tuple[Tested, ...]
    signals: tuple[Signal, ...]


# Of a normal range of two: 2·Φ(-D4·d2/√2). EWMA and CUSUM: one over their average run lengths.
_MOVING_RANGE: Final = Tested("moving-range", "two values in a row too far apart", 0.0092)
_EWMA: Final = Tested("ewma", "moving average beyond its limits, λ 0.2, L 2.962", 1 / 499.5)
_CUSUM: Final = Tested("cusum", "cumulative sum beyond its limit, k ½, h 5", 1 / 465.3)


def charted(points: Sequence[Point], baseline: Baseline, rules: Sequence[RunRule]) -> Charted:
    """The charts of a series and what they signal, in the order of tests."""
    values = [point.value for point in points]
    after = values[baseline.points :]
    averages = ewma(after, baseline.centre, baseline.sigma) if after else None
    sums = cusum(after, baseline.centre, baseline.sigma) if after else None
    signals = [*_by_rules(points, values, baseline, rules)]
    ranges = moving_ranges(values)
    wide = [i + 1 for i, span in enumerate(ranges) if span > baseline.upper_moving_range]
    signals += [_signal(points, _MOVING_RANGE.test, i, i - 1, lasts) for i, lasts in _runs(wide)]
    tests = [*(Tested(rule.name, rule.words, rule.false_alarms) for rule in rules), _MOVING_RANGE]
    if averages is not None and sums is not None:
        tests += [_EWMA, _CUSUM]
        first = baseline.points
        for i, lasts in _runs(averages.outside):
            signals.append(_signal(points, _EWMA.test, first + i, first + i, lasts))
        for totals, outside in ((sums.high, sums.outside_high), (sums.low, sums.outside_low)):
            for i, lasts in _runs(outside):
                start = _since_zero(totals, i)
                signals.append(_signal(points, _CUSUM.test, first + i, first + start, lasts))
    return Charted(baseline, averages, sums, tuple(tests), tuple(signals))


def _by_rules(
    points: Sequence[Point], values: Sequence[float], baseline: Baseline, rules: Sequence[RunRule]
) -> Iterator[Signal]:
    standardised = baseline.standardised(values)
    for rule in rules:
        for i, lasts in _runs(firings(standardised, rule, baseline.neither_side)):
            yield _signal(points, rule.name, i, max(0, i - rule.window + 1), lasts)


def _signal(points: Sequence[Point], test: str, at: int, since: int, lasts: int) -> Signal:
    entries = tuple(point.entry for point in points[since : at + 1])
    return Signal(test, points[at].entry, entries, lasts)


def _runs(positions: Sequence[int]) -> Iterator[tuple[int, int]]:
    """The first of each run of positions in a row, and how many they are."""
    known = set(positions)
    for i in positions:
        if i - 1 not in known:
            lasts = 1
            while i + lasts in known:
                lasts += 1
            yield i, lasts


def _since_zero(totals: Sequence[float], at: int) -> int:
    """Where a sum last began to grow, which is where the change is likely to lie."""
    while at > 0 and totals[at - 1] > 0:
        at -= 1
    return at
