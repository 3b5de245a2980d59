"""Slopes of series reckoned by hand, from sums over their readings (JCGM 100:2008, H.3)."""

from collections.abc import Sequence
from typing import NamedTuple

from weighworthy_service.checks.blank_run.check import SeriesReading
from weighworthy_service.checks.blank_run.reading import HOUR, RunRead, later_half
from weighworthy_service.checks.blank_run.remarks import STANDS_OUT
from weighworthy_service.checks.explaining.formula import Figure, formula
from weighworthy_service.checks.explaining.functions import (
    ascending,
    largest,
    quantile,
    smallest,
    sqrt,
    total,
)
from weighworthy_service.checks.explaining.inputs import Inputs, reading
from weighworthy_service.checks.explaining.reasons import Reasons
from weighworthy_service.checks.explaining.sheet import FLOAT_DIGITS

_LINE = "JCGM 100:2008, H.3"


class _Line(NamedTuple):
    """Slope in g/h and its uncertainty; times in s."""

    slope: Figure
    uncertainty: Figure
    degrees: Figure | None
    times: Sequence[Figure]


def explain_slope(inputs: Inputs, series: Sequence[SeriesReading], run: int) -> None:
    """Of the whole series of a run."""
    of_run = f"/results/runs/{run}/slope"
    _line(inputs, range(len(series)), series, run, of_run)


def explain_end(inputs: Inputs, run: RunRead, reasons: Reasons) -> None:
    """Whether the later half of a series still drifts, if it does."""
    series, i = run.run.series or (), run.index
    place = f"/runs/{i}/series"
    if run.trend_at_end is None or not reasons.said("still-drifting", place):
        return
    first = len(series) - len(later_half(series))
    line = _line(inputs, range(first, len(series)), series, i, None)
    step = inputs.instrument("d", "scale_interval")
    rate, span = abs(line.slope), (line.times[-1] - line.times[0]) / HOUR
    least = quantile(formula(STANDS_OUT), line.degrees) * line.uncertainty
    # Both must be exceeded: it is kept where the smaller excess is none.
    excess = smallest(rate * span - step, rate - least)
    reasons.unless("still-drifting", ascending(excess, formula(0)), place)


def _line(
    inputs: Inputs, which: range, series: Sequence[SeriesReading], run: int, gives: str | None
) -> _Line:
    def at(name: str) -> list[str]:
        return [] if gives is None else [f"{gives}{name}"]

    sheet, n = inputs.sheet, len(which)
    of = f"series of run {run}" if gives else f"later half of the series of run {run}"
    ts = [reading("t", series[k].at, "runs", run, "series", k, "at") for k in which]
    ys = [reading("I", series[k].indication, "runs", run, "series", k, "indication") for k in which]
    t_mean = sheet.step(f"mean time, {of}", "t_mean", total(list(ts)) / n, "s")
    y_mean = sheet.step(f"mean indication, {of}", "I_mean", total(list(ys)) / n, "g")
    extent = sheet.step(
        f"squares of times, {of}", "S_tt", total([(t - t_mean) ** 2 for t in ts]), "s2"
    )
    both = sheet.step(
        f"products, {of}",
        "S_tI",
        total([(t - t_mean) * (y - y_mean) for t, y in zip(ts, ys, strict=True)]),
        "g s",
    )
    slope = sheet.step(f"slope, {of}", "b", both / extent * HOUR, "g/h", gives=at(""), source=_LINE)
    floor = inputs.instrument("d", "scale_interval") ** 2 / 12
    degrees = None
    left = floor
    if n > 2:
        squares = sheet.step(
            f"squares of indications, {of}", "S_II", total([(y - y_mean) ** 2 for y in ys]), "g2"
        )
        degrees = sheet.step(
            f"degrees of freedom, {of}", "nu", formula(n) - 2, "1", gives=at("_degrees_of_freedom")
        )
        left = largest((squares - both**2 / extent) / degrees, floor)
    variance = sheet.step(f"variance about the line, {of}", "s2", left, "g2")
    uncertainty = sheet.step(
        f"standard uncertainty of the slope, {of}",
        "u_b",
        sqrt(variance / extent) * HOUR,
        "g/h",
        gives=at("_uncertainty"),
        shown=FLOAT_DIGITS,
        source=_LINE,
    )
    return _Line(slope, uncertainty, degrees, ts)
