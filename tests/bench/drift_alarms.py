"""How often control charts speak of a balance to which nothing happened.

`python tests/bench/drift_alarms.py` prints two tables, the same in every run: values are drawn with
a seed, independent and normal. It is no test: `about_drift.md` beside the code quotes the figures.

The first: per point, about a centre and with a sigma that are exactly known, beside what follows
from counting. The second: as `report` does it, with centre and sigma from a baseline. Of steady
histories of 100 checks after the baseline, how many see at least one signal, and the signals' share
of all points; on a display that hides nothing, and on one with a step of 1/0.8 of the scatter.
"""

import sys
from datetime import UTC, datetime, timedelta

import numpy as np

from weighworthy_service.logbook.drift.charts import (
    Baseline,
    baseline_of,
    cusum,
    ewma,
    moving_ranges,
)
from weighworthy_service.logbook.drift.run_rules import NELSON, WESTERN_ELECTRIC, firings
from weighworthy_service.logbook.drift.series import Point
from weighworthy_service.logbook.drift.signals import charted
from weighworthy_service.logbook.drift.slope import slope_of

RULES = (*NELSON.values(), WESTERN_ELECTRIC[3])
POINTS = 1_000_000
HISTORIES = 1000
AFTER = 100
START = datetime(2026, 1, 5, tzinfo=UTC)


def per_point() -> None:
    """The rate of each rule alone, and of the two usual sets together."""
    values = np.random.default_rng(1984).normal(size=POINTS).tolist()
    print(f"{'per point, centre and sigma known':<44}{'measured':>10}{'counted':>10}")
    fired = {rule.name: firings(values, rule) for rule in RULES}
    for rule in RULES:
        share = len(fired[rule.name]) / POINTS
        print(f"{rule.name + ': ' + rule.words:<44}{share:10.5f}{rule.false_alarms:10.5f}")
    known = Baseline(20, 0.0, 1.0, 1.1283791670955126)
    wide = sum(span > known.upper_moving_range for span in moving_ranges(values))
    print(f"{'moving range':<44}{wide / (POINTS - 1):10.5f}")
    for name, rules in (
        ("rules 1 and 2", RULES[:2]),
        ("rules 1 to 8", RULES[:8]),
        ("Western Electric", WESTERN_ELECTRIC),
    ):
        lengths = run_lengths(values, rules)
        print(f"{name + ': average run length':<44}{np.mean(lengths):10.1f}")


def run_lengths(values: list[float], rules: tuple) -> list[int]:
    """Between signals, each run beginning anew after the last."""
    lengths, start = [], 0
    while start < len(values) // 2:
        stretch = 200
        while True:
            taken = values[start : start + stretch]
            first = min((f[0] for rule in rules if (f := firings(taken, rule))), default=None)
            if first is not None:
                lengths.append(first + 1)
                start += first + 1
                break
            stretch *= 2
    return lengths


def histories(first: int | None, step: float) -> None:
    """One block of the second table; `first`: points of the baseline, None: all is known."""
    generator = np.random.default_rng(1956)
    length = (first or 0) + AFTER
    seen: dict[str, int] = {}
    points: dict[str, int] = {}
    for _ in range(HISTORIES):
        values = generator.normal(size=length)
        if step:
            values = np.round(values / step) * step
        found = signalling(values.tolist(), first, step)
        for test, count in found.items():
            seen[test] = seen.get(test, 0) + (count > 0)
            points[test] = points.get(test, 0) + count
    told = "known" if first is None else f"from {first} points"
    print(f"-- baseline {told}, step of the display {step:g} sigma")
    for test, count in seen.items():
        rate = points[test] / HISTORIES / AFTER
        print(f"   {test:<20}{count / HISTORIES:9.1%} of histories{rate:10.4f} of points")


def signalling(values: list[float], first: int | None, step: float) -> dict[str, int]:
    """How many points after the baseline each test spoke at."""
    if first is None:
        sums, averages = cusum(values, 0, 1), ewma(values, 0, 1)
        found = {rule.name: len(firings(values, rule, step / 2)) for rule in RULES[:2]}
        return {
            **found,
            "ewma": len(averages.outside),
            "cusum": len({*sums.outside_high, *sums.outside_low}),
        }
    baseline = baseline_of(values, first)
    if baseline is None:
        return {}
    points = [
        Point(str(i), START + timedelta(days=i), value, None, None, None)
        for i, value in enumerate(values)
    ]
    spoke: dict[str, set[int]] = {"rule-1": set(), "rule-2": set(), "ewma": set(), "cusum": set()}
    for signal in charted(points, baseline, RULES[:2]).signals:
        if signal.test in spoke:
            at = int(signal.entry)
            spoke[signal.test] |= {i for i in range(at, at + signal.lasts) if i >= first}
    counts = {test: len(at) for test, at in spoke.items()}
    rate = slope_of(points).least_squares
    counts["slope"] = int(rate is not None and rate.differs_from_zero)
    return counts


def main() -> None:
    per_point()
    for step in (0.0, 1.25):
        for first in (None, 20, 50, 100):
            histories(first, step)


if __name__ == "__main__":
    sys.exit(main())
