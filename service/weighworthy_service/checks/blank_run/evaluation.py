"""Evaluation of blank runs: what a hot run does to the zero, in g and as moisture of a sample.

Change of the indication Δ = I₁ - I₀ of a pan that loses nothing. The model L = 100·(I₀ - I₁)/I₀ of
a loss turns a change of the final reading by Δ into -100·Δ/m (JCGM 100:2008, 5.1).
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.blank_run.declaring import Together
from weighworthy_service.checks.blank_run.reading import RunRead
from weighworthy_service.checks.blank_run.remarks import remarks
from weighworthy_service.checks.blank_run.reveals import reveals
from weighworthy_service.checks.conclusion import conclude, concluded
from weighworthy_service.checks.contributions import digitisation, repeatability
from weighworthy_service.checks.held import Standard, Subject
from weighworthy_service.checks.judging import Ground, Judged, judge_value, most_critical
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import combine

ZERO_CHANGE: Final = CriterionName("zero_change", "g", on_pan=False, on_grid=True)
MOISTURE_EFFECT: Final = CriterionName("moisture_effect", "%")
CRITERIA: Final = (ZERO_CHANGE, MOISTURE_EFFECT)


def evaluate(check: BlankRunCheck, terms: Terms) -> Evaluation:
    """Judge the change of the indication in each run, and what it does to a moisture value."""
    runs = [RunRead(check, i) for i in range(len(check.runs))]
    together = Together(check, runs, terms)
    changes = _each(check, runs, terms, ZERO_CHANGE)
    effects = _each(check, runs, terms, MOISTURE_EFFECT)
    judged = [most_critical(changes), most_critical(effects)]
    criteria = tuple(j.criterion for j in judged)
    found = [finding for j in judged for finding in j.findings]
    found += remarks(check, runs, terms)
    results = {
        "runs": [_as_result(*each) for each in zip(runs, changes, effects, strict=True)],
        **together.as_result(),
        "reveals": list(reveals(check, judged[0], terms.decision)),
    }
    return concluded("blank-run", criteria, results, found, terms)


def _each(
    check: BlankRunCheck, runs: Sequence[RunRead], terms: Terms, name: CriterionName
) -> list[Judged]:
    """One criterion in every run; all of them rest on the same ground."""
    here = check.circumstances
    by_change = name is ZERO_CHANGE
    # Of a change in g: in %, -100/m of it.
    c = 1.0 if by_change else -100 / float(check.sample_mass)
    load = None if by_change else check.sample_mass
    rows = [
        *digitisation("zero readings", here.instrument, [c, -c]),
        *repeatability(here.instrument, [c]),
    ]
    ground = Ground(
        combine(rows, terms.decision.coverage),
        Fraction(0),
        Standard(name, load, terms, here),
    )
    return [
        judge_value(
            name,
            Subject(name.name, Fraction(0), load, run.index, place=("runs", run.index)),
            run.change if by_change else run.effect,
            terms,
            ground,
        )
        for run in runs
    ]


def _as_result(run: RunRead, change: Judged, effect: Judged) -> dict[str, Any]:
    standard = change.criterion.standard_uncertainty
    assert standard is not None  # noqa: S101  every run has a value
    worst = [verdict for verdict in (change.verdict, effect.verdict) if verdict is not None]
    verdict, _ = conclude(worst, ())
    return {**run.as_result(standard), "verdict": verdict}
