"""Evaluation of a heater check: a certified probe against set temperatures.

Error of a set point: mean of the probe's readings, with the correction of its certificate, minus
the set temperature.
"""

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.conclusion import concluded
from weighworthy_service.checks.contributions import ROOT_3, ROOT_12
from weighworthy_service.checks.heater.chamber import SetPointRead
from weighworthy_service.checks.heater.check import HeaterCheck
from weighworthy_service.checks.heater.line import error_line
from weighworthy_service.checks.heater.probe import probe_rows
from weighworthy_service.checks.heater.remarks import remarks
from weighworthy_service.checks.heater.reveals import reveals
from weighworthy_service.checks.judging import Computed, Judged, judge, missing, most_critical
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow

TEMPERATURE_ERROR: Final = CriterionName("temperature_error", "K", on_pan=False)
SETTLING_TIME: Final = CriterionName("settling_time", "s", on_pan=False)
TEMPERATURE_SPREAD: Final = CriterionName("temperature_spread", "K", on_pan=False, magnitude=True)
DISPLAY_ERROR: Final = CriterionName("display_error", "K", on_pan=False)
CRITERIA: Final = (TEMPERATURE_ERROR, SETTLING_TIME, TEMPERATURE_SPREAD, DISPLAY_ERROR)

# A value at one set point, where it has one, and its budget.
At = Callable[[HeaterCheck, SetPointRead], tuple[Decimal | Fraction | None, Sequence[BudgetRow]]]


def evaluate(check: HeaterCheck, terms: Terms) -> Evaluation:
    """Judge each criterion at every set point; the one that is worst speaks for the check."""
    points = [SetPointRead(check, i) for i in range(len(check.set_points))]
    at_points = {name: _judged(check, points, name, terms) for name in CRITERIA}
    chosen = [most_critical(judged) for judged in at_points.values()]
    criteria = tuple(judged.criterion for judged in chosen)
    found = [finding for judged in chosen for finding in judged.findings]
    found += remarks(check, points, terms)
    results = {
        "set_points": [
            _result(point, judged)
            for point, judged in zip(points, at_points[TEMPERATURE_ERROR], strict=True)
        ],
        "line": error_line(points),
        "reveals": reveals(criteria[0], chosen[0].tolerance, terms.decision),
    }
    return concluded("heater", criteria, results, found, terms)


def _judged(
    check: HeaterCheck, points: Sequence[SetPointRead], name: CriterionName, terms: Terms
) -> list[Judged]:
    judged = []
    for point in points:
        place = ("set_points", point.index)
        value, rows = _AT[name](check, point)
        if value is None:
            judged.append(missing(name, terms, name.name, place, index=point.index))
            continue
        computed = Computed(
            name.name, value, rows, weights_error=Fraction(0), index=point.index, place=place
        )
        judged.append(judge(name, computed, terms, check.circumstances))
    return judged


def _error(check: HeaterCheck, point: SetPointRead) -> tuple[Fraction | None, Sequence[BudgetRow]]:
    if point.corrected is None:
        return None, ()
    return point.error, probe_rows(check.probe, point.corrected, point.scatter)


def _settling(
    check: HeaterCheck, point: SetPointRead
) -> tuple[Decimal | None, Sequence[BudgetRow]]:
    found = point.settling
    if found is None:
        return None, ()
    if found.gap is None:
        assert check.time_step is not None  # noqa: S101  HeaterCheck refuses stated times without
        step = float(check.time_step) / ROOT_12
        return found.time, [
            BudgetRow("digitisation of the time", "rectangular", step, "s", 1, varies=True)
        ]
    # Settled at some moment since the reading before: up to the whole gap earlier.
    gap = float(found.gap) / ROOT_3
    return found.time, [BudgetRow("time between readings", "rectangular", gap, "s", 1, varies=True)]


def _spread(check: HeaterCheck, point: SetPointRead) -> tuple[Decimal | None, Sequence[BudgetRow]]:
    step = float(check.probe.interval) / ROOT_12
    source = "digitisation of the probe"
    # Of the probe itself all else is the same in both readings.
    return point.spread, [BudgetRow(source, "rectangular", step, "K", 2**0.5, varies=True)]


def _display_error(
    check: HeaterCheck, point: SetPointRead
) -> tuple[Fraction | None, Sequence[BudgetRow]]:
    if point.corrected is None:
        return None, ()
    rows = [
        row.acting(-row.sensitivity)
        for row in probe_rows(check.probe, point.corrected, point.scatter)
    ]
    if check.display_interval is not None:
        step = float(check.display_interval) / ROOT_12
        source = "digitisation of the display"
        rows.append(BudgetRow(source, "rectangular", step, "K", 1, varies=True))
    return point.display_error, rows


_AT: Final[dict[CriterionName, At]] = {
    TEMPERATURE_ERROR: _error,
    SETTLING_TIME: _settling,
    TEMPERATURE_SPREAD: _spread,
    DISPLAY_ERROR: _display_error,
}


def _result(point: SetPointRead, judged: Judged) -> dict[str, Any]:
    scatter, drifting, settling = point.scatter, point.drifting, point.settling
    corrected = point.corrected
    # Where none is stated none was looked up: 0 would read like one.
    known = None if corrected is None or corrected.segment is None else corrected.correction
    return {
        "index": point.index,
        "set": point.point.set,
        "mean_reading": point.mean,
        "correction": known,
        "temperature": point.temperature,
        "error": point.error,
        "expanded_uncertainty": judged.expanded,
        "lower_limit": judged.limits[0],
        "upper_limit": judged.limits[1],
        "margin": judged.margin,
        "verdict": judged.verdict,
        "standard_deviation": None if scatter is None else scatter[0],
        "spread": point.spread,
        "drift": None if drifting is None else drifting.change,
        "drift_uncertainty": None if drifting is None else drifting.standard_uncertainty,
        "settling_time": None if settling is None else settling.time,
        "display_error": point.display_error,
    }
