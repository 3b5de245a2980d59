"""The drift of one instrument: each series with its slope, its outlook, its charts and signals."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median
from typing import Final

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.logbook.drift.charts import FEWEST, Baseline, baseline_of
from weighworthy_service.logbook.drift.gathering import gather
from weighworthy_service.logbook.drift.outlook import Outlook, outlook
from weighworthy_service.logbook.drift.run_rules import NELSON, RunRule
from weighworthy_service.logbook.drift.series import Cut, Point, Series, SeriesKey
from weighworthy_service.logbook.drift.signals import Charted, charted
from weighworthy_service.logbook.drift.slope import DAY, Slope, slope_of
from weighworthy_service.logbook.entries import Entry

BASELINE: Final = 20
# From so many points on, single values leave their limits at most twice as often as is told.
_SETTLED_BASELINE: Final = 50
# Common practice, no source: so many times the usual distance without a point is told.
_LONG_GAP: Final = 4


@dataclass(frozen=True, slots=True)
class SeriesReport:
    """One series between two cuts. Values, limits and rates in the unit of `key`.

    `void` and `without_value`: entries of checks in between that give no point. `outlook` is None
    for a series that a cut has ended, without a slope, and without limits; `chart` without a
    baseline, which a finding explains. `findings` are all there are, those of the slope included.
    """

    key: SeriesKey
    points: tuple[Point, ...]
    began: Cut | None
    ended: Cut | None
    void: tuple[str, ...]
    without_value: tuple[str, ...]
    slope: Slope
    outlook: Outlook | None
    chart: Charted | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Check entries that are in no series, and how many entries come after `at`."""

    void: tuple[str, ...]
    without_value: tuple[str, ...]
    later: int


def report(
    entries: Iterable[Entry],
    *,
    at: datetime | None = None,
    rules: Sequence[int | RunRule] = (1, 2),
    baseline: int = BASELINE,
    confidence: float = 0.95,
) -> tuple[SeriesReport, ...]:
    """Every series of one instrument, whose entries come in order of time, by key and time.

    `rules`: numbers of Nelson's, or rules themselves. `baseline`: how many first points of a series
    its charts rest on, at least 12.

    Raises:
        ValueError: no such rule, a shorter baseline, a confidence not between 0 and 1.
    """
    chosen = tuple(rule if isinstance(rule, RunRule) else _numbered(rule) for rule in rules)
    if baseline < FEWEST:
        raise ValueError(f"baseline: {baseline} points are too few, at least {FEWEST} are needed")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence: {confidence} does not lie between 0 and 1")
    return tuple(
        _reported(series, chosen, baseline, confidence) for series in gather(entries, at).series
    )


def left_out(entries: Iterable[Entry], *, at: datetime | None = None) -> LeftOut:
    """What `report` leaves out of every series, of the same entries."""
    gathered = gather(entries, at)
    return LeftOut(gathered.void, gathered.without_value, gathered.later)


def _numbered(rule: int) -> RunRule:
    if rule not in NELSON:
        raise ValueError(f"rules: {rule} is none of 1 to {len(NELSON)}")
    return NELSON[rule]


def _reported(
    series: Series, rules: Sequence[RunRule], first: int, confidence: float
) -> SeriesReport:
    points = tuple(series.points)
    slope = slope_of(points, confidence)
    line = slope.line if series.ended is None else None
    baseline = baseline_of([point.value for point in points], first)
    return SeriesReport(
        series.key,
        points,
        series.began,
        series.ended,
        series.void,
        series.without_value,
        slope,
        None if line is None else outlook(points, line),
        None if baseline is None else charted(points, baseline, rules),
        (
            *slope.findings,
            *_about_limits(points[-1]),
            *_about_baseline(points, baseline, first),
            *_about_gaps(points),
        ),
    )


def _about_limits(last: Point) -> list[Finding]:
    if last.upper_limit is not None or last.lower_limit is not None:
        return []
    return [Finding("no-limit", "note", f"no limit was in force at the last point, {last.entry}")]


def _about_baseline(
    points: Sequence[Point], baseline: Baseline | None, first: int
) -> list[Finding]:
    if baseline is not None:
        found = []
        if baseline.points < first:
            said = (
                f"control limits rest on all {baseline.points} points, fewer than the {first} that "
                "were asked for"
            )
            found.append(Finding("baseline-short", "note", said))
        if baseline.points < _SETTLED_BASELINE:
            said = (
                f"control limits rest on {baseline.points} points: false alarms come several times "
                "as often as is told for a centre and sigma that are exactly known"
            )
            found.append(Finding("limits-uncertain", "note", said))
        return found
    if len(points) < FEWEST:
        said = f"{len(points)} points: control limits need at least {FEWEST}"
        return [Finding("no-control-limits", "note", said)]
    said = "the values that control limits would rest on are all equal"
    return [Finding("no-control-limits", "note", said)]


def _about_gaps(points: Sequence[Point]) -> list[Finding]:
    days = [(later.at - earlier.at) / DAY for earlier, later in pairwise(points)]
    if len(days) < 3:
        return []
    longest, usual = max(days), median(days)
    if not usual or longest <= _LONG_GAP * usual:
        return []
    at = days.index(longest)
    said = (
        f"nothing is known for {longest:.3g} days between {points[at].entry} and "
        f"{points[at + 1].entry}; the usual distance is {usual:.3g} days"
    )
    return [Finding("gap", "note", said)]
