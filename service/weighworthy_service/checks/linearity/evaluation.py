"""Evaluation of a linearity check: errors over the range used, up and often down again.

Errors as for a span check (EURAMET cg-18 v4.0, from memory). The four non-linearities and the
hysteresis keep their own names: they are different numbers.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from weighworthy_service.checks.conclusion import concluded
from weighworthy_service.checks.contributions import (
    Effects,
    Sources,
    error_rows,
    weights_allowance,
)
from weighworthy_service.checks.held import Standard, Subject
from weighworthy_service.checks.judging import (
    Computed,
    Ground,
    Judged,
    judge,
    judge_value,
    missing,
    most_critical,
)
from weighworthy_service.checks.linearity.check import LinearityCheck
from weighworthy_service.checks.linearity.curve import (
    LINES,
    Departure,
    MeanError,
    PointRead,
    departures,
    hysteresis,
    largest,
    mean_errors,
    read_points,
)
from weighworthy_service.checks.outcome import CriterionName, Evaluation, Finding
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import (
    Observed,
    count_findings,
    reading_findings,
    sitting_findings,
)
from weighworthy_service.metrology.budget import BudgetRow, combine

POINT_ERROR: Final = CriterionName("point_error", "g", has_load=True, on_grid=True)
NONLINEARITIES: Final = {line: CriterionName(f"{line}_nonlinearity", "g") for line in LINES}
HYSTERESIS: Final = CriterionName("hysteresis", "g", on_grid=True)
CRITERIA: Final = (POINT_ERROR, *NONLINEARITIES.values(), HYSTERESIS)


def evaluate(check: LinearityCheck, terms: Terms) -> Evaluation:
    """Judge each point at its own load, the four non-linearities, and the hysteresis."""
    points = read_points(check)
    curve = mean_errors(points)
    by_line = {line: departures(curve, of) for line, of in LINES.items()}
    turns = hysteresis(points)

    sources = Sources(check.circumstances.instrument)
    at_points = _point_errors(check, points, terms, sources)
    judged = [
        most_critical(at_points),
        *(
            _worst_place(check, name, by_line[line] or [], terms, sources)
            for line, name in NONLINEARITIES.items()
        ),
        _worst_place(check, HYSTERESIS, turns, terms, sources),
    ]
    criteria = tuple(j.criterion for j in judged)
    found = [finding for j in judged for finding in j.findings]
    found += _other_findings(check, points, terms)
    results = _results(points, at_points, curve, by_line, turns)
    return concluded("linearity", criteria, results, found, terms)


def _point_errors(
    check: LinearityCheck, points: Sequence[PointRead], terms: Terms, sources: Sources
) -> list[Judged]:
    """Each point at its own load; what rests on the load alone is worked out once for it."""
    here = check.circumstances
    known: dict[tuple[str, ...], Ground] = {}
    judged = []
    for p, names in zip(points, [point.load for point in check.points], strict=True):
        if names not in known:
            known[names] = Ground(
                combine(_rows(check, p.effects, terms, sources), terms.decision.coverage),
                weights_allowance(p.effects, here),
                Standard(POINT_ERROR, p.load, terms, here),
            )
        error, place = known[names].weights_error, ("points", p.index)
        subject = Subject(POINT_ERROR.name, error, p.load, p.index, place=place)
        judged.append(judge_value(POINT_ERROR, subject, p.error, terms, known[names]))
    return judged


def _worst_place(
    check: LinearityCheck,
    name: CriterionName,
    places: Sequence[Departure],
    terms: Terms,
    sources: Sources,
) -> Judged:
    """The criterion at the place of worst verdict; unlimited, at that of largest magnitude."""
    if not places:
        return missing(name, terms, name.name, ("points",))
    judged = []
    for place in places if name.name in terms.limits else [largest(places)]:
        effects = place.effects()
        computed = Computed(
            key=name.name,
            value=place.value,
            rows=_rows(check, effects, terms, sources),
            weights_error=weights_allowance(effects, check.circumstances),
            load=place.load,
            place=("points",),
        )
        judged.append(judge(name, computed, terms, check.circumstances))
    return most_critical(judged)


def _rows(
    check: LinearityCheck, effects: Effects, terms: Terms, sources: Sources
) -> list[BudgetRow]:
    circumstances = check.circumstances
    adjusted = circumstances.occasion == "after-adjustment"
    correlation = terms.weights_correlation
    return error_rows(effects, circumstances, correlation, adjusted=adjusted, sources=sources)


def _other_findings(
    check: LinearityCheck, points: Sequence[PointRead], terms: Terms
) -> list[Finding]:
    circumstances = check.circumstances
    observed = [
        Observed(("points", i, name), value, ("points", i), p.stable)
        for i, p in enumerate(check.points)
        for name, value in (("zero", p.zero), ("indication", p.indication))
        if value is not None
    ]
    used = list(dict.fromkeys(name for p in check.points for name in p.load))
    built_up = any(len(p.load) > 1 for p in check.points)
    return [
        *reading_findings(observed, circumstances, terms),
        *sitting_findings(circumstances, used, terms),
        # Repeats of a load are cycles; what a curve needs is different loads.
        *count_findings(len({p.load for p in points}), terms.validity.points, "points", "/points"),
        *input_remarks(circumstances, used, built_up=built_up, buoyancy=True),
    ]


def _results(
    points: Sequence[PointRead],
    at_points: Sequence[Judged],
    curve: Sequence[MeanError],
    by_line: Mapping[str, Sequence[Departure] | None],
    turns: Sequence[Departure],
) -> dict[str, Any]:
    far = max(points, key=lambda p: p.error.copy_abs())
    return {
        "points": [
            {
                "index": p.index,
                "direction": p.direction,
                "load": p.load,
                "mass": p.mass,
                "error": p.error,
                "expanded_uncertainty": j.expanded,
                "lower_limit": j.limits[0],
                "upper_limit": j.limits[1],
                "margin": j.margin,
                "verdict": j.verdict,
            }
            for p, j in zip(points, at_points, strict=True)
        ],
        "largest_error": {"value": far.error, "load": far.load, "index": far.index},
        "curve": [
            {"load": m.load, "mass": m.mass, "error": m.error, "points": m.points} for m in curve
        ],
        "nonlinearity": {
            line: None
            if places is None
            else {**_place(largest(places)), "departures": [_place(place) for place in places]}
            for line, places in by_line.items()
        },
        "hysteresis": [_place(place) for place in turns],
    }


def _place(place: Departure) -> dict[str, Any]:
    return {"load": place.load, "value": place.value}
