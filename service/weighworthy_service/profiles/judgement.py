"""What the limits of a profile do on one balance: budgets and limits come from the very code that
judges, of a check that went perfectly (`rehearsal`), and chances from `chances`.
"""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Criterion, CriterionName, Finding
from weighworthy_service.checks.rehearsal import Rehearsal, Steps
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow, combine
from weighworthy_service.metrology.conformity import guard_band
from weighworthy_service.metrology.limits import Basis, Interval, Limit
from weighworthy_service.metrology.risk import Risks
from weighworthy_service.profiles.chances import (
    Chances,
    checks_a_year,
    false_acceptance,
    false_failures,
    false_rejection,
    half_of,
    risks_of_all,
)
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.passing import acceptance
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.profiles.spoiling import Met, met

# From this ratio on, simple acceptance seldom errs (JCGM 106:2012, 8.2).
SENSIBLE_RATIO: Final = 3

_IN_STEPS: Final = ("digitisation of loaded readings", "digitisation of zero readings")
# Scale intervals are 1, 2 or 5 times a power of ten (OIML R 76-1:2006, 3.2.2, from memory), in g.
_STEPS: Final = tuple(Decimal(digit).scaleb(power) for power in range(-9, 3) for digit in (1, 2, 5))


@dataclass(frozen=True, slots=True)
class Yearly:
    """Chances of at least one false failure in the checks of a year."""

    checks: int
    chances: Chances


@dataclass(frozen=True, slots=True)
class Judgement:
    """A limit as it acts on one balance with one load; g or %.

    `stage` is None where all stages are alike; `attainable`: a balance without error can be shown
    to keep the limit; `rounding`: what the rounding of readings alone can do to a loss;
    `sensible_scale_interval`: see there; `void_by`: codes of what makes every such check void, or
    keeps it from passing, whatever the readings: then there are no chances.
    """

    check: str
    name: CriterionName
    criterion: Criterion
    stage: str | None
    interval: Interval
    terms: Terms
    rounding: Fraction | None
    attainable: bool
    false_rejection: Chances | None
    false_acceptance: Chances | None
    yearly: Yearly | None
    sensible_scale_interval: Decimal | None
    risks: Risks | None
    findings: tuple[Finding, ...]
    void_by: tuple[str, ...] = ()

    @property
    def half(self) -> Fraction:
        """Half of the tolerance's width; with one limit, its distance from zero."""
        return half_of(self.interval)

    @property
    def expanded(self) -> Decimal:
        """The expanded uncertainty that decisions use."""
        assert self.criterion.expanded_uncertainty is not None  # noqa: S101  of every judged one
        return self.criterion.expanded_uncertainty

    @property
    def guard(self) -> Fraction:
        """The width of the guard band."""
        decision = self.terms.decision
        return guard_band(decision.rule, decision.guard_factor, self.expanded)

    @property
    def ratio(self) -> Fraction:
        """Tolerance to uncertainty; with one limit, its distance from zero to uncertainty."""
        return self.half / Fraction(self.expanded)


def judge_limits(
    profile: Profile,
    kind: Kind,
    circumstances: Circumstances,
    rehearsals: Iterable[Rehearsal],
    *,
    every: Mapping[str | None, str | None],
    of_balances: Fraction | None = None,
) -> tuple[list[Judgement], list[Met]]:
    """Every limit of a kind of check on one balance, and what the checks found that judge them.

    `every` has the period of the schedule by stage (None: of all), or None without one;
    `of_balances` the standard deviation of true errors in halves of the tolerance, if known.
    """
    terms = terms_for(profile, kind.slug, circumstances)
    names = {name.name: name for name in kind.criteria}
    rows: dict[tuple[Any, ...], Judgement] = {}
    found: list[Met] = []
    for rehearsal in rehearsals:
        evaluation = kind.evaluate(rehearsal.check, terms)
        here = met(evaluation, rehearsal.load)
        found += here
        for criterion in evaluation.criteria:
            place = (criterion.name, criterion.load, criterion.stage)
            name = names[criterion.name]
            # Of a whole run only the point that counts is told: points are judged one by one.
            of_one_point = name.has_load and not rehearsal.load
            void_by = dict.fromkeys(
                m.finding.code for m in here if m.spoils and m.touches(criterion)
            )
            known = rows.get(place)
            # Of what has no load, a check that counts tells more than one that does not.
            told = known is not None and (not known.void_by or void_by)
            if criterion.verdict is None or of_one_point or told:
                continue
            rows[place] = _judged(
                criterion,
                terms.at(criterion.stage),
                circumstances,
                check=kind.slug,
                name=name,
                steps=rehearsal.steps_of(criterion.name),
                every=every.get(criterion.stage, every.get(None)),
                of_balances=of_balances,
                findings=tuple(m.finding for m in here if m.criterion is criterion),
                void_by=tuple(void_by),
            )
    return _without_equal_stages(rows.values()), found


def _judged(
    criterion: Criterion,
    terms: Terms,
    circumstances: Circumstances,
    *,
    check: str,
    name: CriterionName,
    steps: Steps | None,
    every: str | None,
    of_balances: Fraction | None,
    findings: tuple[Finding, ...],
    void_by: tuple[str, ...],
) -> Judgement:
    instrument = circumstances.instrument
    basis = Basis(instrument, criterion.load if name.on_pan else None, name.unit)
    limit = terms.limits[name.name].limit
    interval = limit.at(basis)
    assert interval is not None  # noqa: S101  a judged criterion has one
    of = acceptance(name, criterion, interval, terms, instrument.scale_interval, steps=steps)
    rounding = None if steps is None else steps.rounding(instrument.scale_interval)
    broken = rounding is not None and nearest_side(interval) < rounding
    times = None if every is None else checks_a_year(every)
    chance = not void_by
    return Judgement(
        check=check,
        name=name,
        criterion=criterion,
        stage=criterion.stage,
        interval=interval,
        terms=terms,
        rounding=rounding,
        attainable=of.any_good and not broken,
        false_rejection=false_rejection(of) if chance else None,
        false_acceptance=false_acceptance(of, interval) if chance else None,
        yearly=Yearly(times, false_failures(of, times)) if chance and times else None,
        sensible_scale_interval=sensible_scale_interval(
            limit, basis, criterion.budget, terms.decision.coverage
        ),
        risks=risks_of_all(of, interval, of_balances) if chance and of_balances else None,
        findings=findings,
        void_by=void_by,
    )


def nearest_side(interval: Interval) -> Fraction:
    """The distance from zero of that limit which is nearer to it."""
    return min(abs(side) for side in (interval.lower, interval.upper) if side is not None)


def sensible_scale_interval(
    limit: Limit, basis: Basis, budget: Sequence[BudgetRow], coverage: Decimal
) -> Decimal | None:
    """The largest usual d, in g, with which the limit is at least three times U, all else equal.

    None where no d makes it so, and where the limit is itself counted in d.
    """

    def at(step: Decimal) -> Interval | None:
        of = replace(basis, instrument=replace(basis.instrument, scale_interval=step))
        return limit.at(of)

    fixed = at(_STEPS[0])
    own = float(basis.instrument.scale_interval)

    def sensible(step: Decimal) -> bool:
        if fixed is None or at(step) != fixed:
            return False
        rows = [
            row._replace(standard_uncertainty=row.standard_uncertainty * float(step) / own)
            if row.source in _IN_STEPS
            else row
            for row in budget
        ]
        return half_of(fixed) >= SENSIBLE_RATIO * Fraction(combine(rows, coverage).expanded)

    # A larger d never makes it better, so those that will do come first.
    found = bisect_left(_STEPS, True, lo=1, key=lambda step: not sensible(step))
    return None if found == 1 else _STEPS[found - 1]


def _without_equal_stages(rows: Iterable[Judgement]) -> list[Judgement]:
    """One row, without stage, where a criterion is the same at all stages."""
    by_place: dict[tuple[Any, ...], list[Judgement]] = {}
    for row in rows:
        by_place.setdefault((row.criterion.name, row.criterion.load), []).append(row)
    kept: list[Judgement] = []
    for stages in by_place.values():
        told = {(r.interval, r.expanded, r.terms.decision, r.yearly, r.void_by) for r in stages}
        kept += stages if len(told) > 1 else [replace(stages[0], stage=None)]
    return kept
