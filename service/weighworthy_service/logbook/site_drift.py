"""How errors as found drift, instrument by instrument, in the form of the answer."""

from collections.abc import Iterable, Sequence
from typing import Any

from weighworthy_service.checks.answer import number
from weighworthy_service.logbook.book import Book, by_instrument
from weighworthy_service.logbook.drift.charts import Averages, Sums
from weighworthy_service.logbook.drift.outlook import Outlook, Reach
from weighworthy_service.logbook.drift.report import SeriesReport, left_out, report
from weighworthy_service.logbook.drift.series import Cut, Point
from weighworthy_service.logbook.drift.signals import Charted
from weighworthy_service.logbook.drift.slope import Rate, Slope
from weighworthy_service.logbook.entries import Entry
from weighworthy_service.logbook.telling import told_findings, told_instant


def site_drift(
    book: Book, entries: Iterable[Entry], rules: Sequence[int], baseline: int
) -> tuple[dict[str, Any], int]:
    """Every series of every instrument that is listed or has entries; and how many entries.

    `rules`: numbers of Nelson's run rules; `baseline`: points that control limits rest on, >= 12.
    """
    by_name = by_instrument(entries, book.names)
    series, apart = [], []
    for name in sorted(by_name):
        mine = by_name[name]
        series += [_told(name, one) for one in report(mine, rules=rules, baseline=baseline)]
        rest = left_out(mine)
        apart.append(
            {
                "instrument": name,
                "void": list(rest.void),
                "without_value": list(rest.without_value),
            }
        )
    signalled = sum(bool(one["chart"] and one["chart"]["signals"]) for one in series)
    drifting = sum(_drifts(one) for one in series)
    told = {
        "summary": {
            "instruments": len(by_name),
            "series": len(series),
            "drifting": drifting,
            "with_signals": signalled,
            "sentence": f"{len(series)} series; {drifting} drift (the interval of the slope leaves "
            f"out zero); {signalled} with signals of a chart",
        },
        "series": series,
        "left_out": apart,
    }
    return told, sum(map(len, by_name.values()))


def _drifts(series: dict[str, Any]) -> bool:
    rate = series["slope"]["least_squares"]
    return rate is not None and rate["differs_from_zero"]


def _told(name: str, one: SeriesReport) -> dict[str, Any]:
    key = one.key
    return {
        "instrument": name,
        "check": key.check,
        "criterion": key.criterion,
        "unit": key.unit,
        "load": number(key.load),
        "directions": key.directions or None,
        "expected_loss": number(key.expected_loss),
        "began": _cut(one.began),
        "ended": _cut(one.ended),
        "points": [_point(point) for point in one.points],
        "void": len(one.void),
        "without_value": len(one.without_value),
        "slope": _slope(one.slope),
        "outlook": _outlook(one.outlook),
        "chart": _chart(one.chart),
        "findings": told_findings(one.findings),
    }


def _cut(cut: Cut | None) -> dict[str, Any] | None:
    return cut and {"entry": cut.entry, "at": told_instant(cut.at), "why": cut.why}


def _point(point: Point) -> dict[str, Any]:
    return {
        "entry": point.entry,
        "at": told_instant(point.at),
        "value": number(point.value),
        "expanded_uncertainty": number(point.expanded_uncertainty),
        "lower_limit": number(point.lower_limit),
        "upper_limit": number(point.upper_limit),
    }


def _slope(slope: Slope) -> dict[str, Any]:
    return {
        "points": slope.points,
        "span_days": number(slope.span_days),
        "confidence": number(slope.confidence),
        "least_squares": _rate(slope.least_squares),
        "pairs": _rate(slope.pairs),
    }


def _rate(rate: Rate | None) -> dict[str, Any] | None:
    if rate is None:
        return None
    return {
        "value": number(rate.value),
        "low": number(rate.low),
        "high": number(rate.high),
        "differs_from_zero": rate.differs_from_zero,
    }


def _outlook(outlook: Outlook | None) -> dict[str, Any] | None:
    return outlook and {
        "upper": _reach(outlook.upper),
        "lower": _reach(outlook.lower),
        "overlaps": outlook.overlaps,
    }


def _reach(reach: Reach | None) -> dict[str, Any] | None:
    return reach and {
        "limit": number(reach.limit),
        "estimate": told_instant(reach.estimate),
        "earliest": told_instant(reach.earliest),
        "latest": told_instant(reach.latest),
    }


def _chart(chart: Charted | None) -> dict[str, Any] | None:
    if chart is None:
        return None
    base = chart.baseline
    return {
        "baseline": base.points,
        "step": number(base.step),
        "centre": number(base.centre),
        "sigma": number(base.sigma),
        "lower": number(base.lower),
        "upper": number(base.upper),
        "mean_moving_range": number(base.mean_moving_range),
        "upper_moving_range": number(base.upper_moving_range),
        "averages": _averages(chart.averages),
        "sums": _sums(chart.sums),
        "tests": [
            {"test": t.test, "words": t.words, "false_alarms": number(t.false_alarms)}
            for t in chart.tests
        ],
        "signals": [
            {"test": s.test, "entry": s.entry, "entries": list(s.entries), "lasts": s.lasts}
            for s in chart.signals
        ],
    }


def _averages(averages: Averages | None) -> dict[str, Any] | None:
    return averages and {
        "values": [number(value) for value in averages.values],
        "lower": number(averages.lower),
        "upper": number(averages.upper),
    }


def _sums(sums: Sums | None) -> dict[str, Any] | None:
    return sums and {
        "high": [number(value) for value in sums.high],
        "low": [number(value) for value in sums.low],
        "limit": number(sums.limit),
    }
