"""A check of a perfect balance, before anybody has weighed: its budget, and chances at limits.

Evaluated by the code that judges, from the rehearsal of the kind, so nothing of a budget is written
a second time here.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.answer import budget_row, number
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Criterion, CriterionName
from weighworthy_service.checks.rehearsal import Load, Loads, Steps
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.conformity import guard_band
from weighworthy_service.metrology.limits import Basis, Interval
from weighworthy_service.profiles.chances import Chances
from weighworthy_service.profiles.passing import Acceptance, acceptance
from weighworthy_service.profiles.spoiling import Met, met

# Decimals of a chance: 1 - p of a p near one has no more.
_SURE: Final = 12


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """One criterion of a check that went perfectly.

    `load`: the weights it is about; `results` and what the check `found` are of the whole check.
    """

    kind: Kind
    name: CriterionName
    criterion: Criterion
    load: Load
    terms: Terms
    circumstances: Circumstances
    steps: Steps | None
    results: Mapping[str, Any]
    found: tuple[Met, ...]

    @property
    def expanded(self) -> Decimal:
        """The expanded uncertainty, in the unit of the criterion."""
        assert self.criterion.expanded_uncertainty is not None  # noqa: S101  of what was computed
        return self.criterion.expanded_uncertainty

    @property
    def guard(self) -> Fraction:
        """The guard band."""
        decision = self.terms.decision
        return guard_band(decision.rule, decision.guard_factor, self.expanded)

    @property
    def interval(self) -> Interval | None:
        """The limit of the terms at this load; None: there is none."""
        in_force = self.terms.limits.get(self.name.name)
        load = self.criterion.load if self.name.on_pan else None
        basis = Basis(self.circumstances.instrument, load, self.name.unit)
        return None if in_force is None else in_force.limit.at(basis)

    @property
    def rounding(self) -> Fraction:
        """How far rounding alone can shift the value; 0 where that is in steps itself."""
        step = self.circumstances.instrument.scale_interval
        return Fraction(0) if self.steps is None else self.steps.rounding(step)

    def acceptance(self, interval: Interval) -> Acceptance:
        """How likely a balance is accepted within an interval, by how far it is off."""
        step = self.circumstances.instrument.scale_interval
        terms, steps = self.terms, self.steps
        return acceptance(self.name, self.criterion, interval, terms, step, steps=steps)

    @property
    def void_by(self) -> tuple[str, ...]:
        """Why no such check can count, or pass, whatever the readings."""
        slug, here = self.kind.slug, self.circumstances
        return tuple(dict.fromkeys(m.sentence(slug, here) for m in self.found if m.spoils))

    @property
    def largest_part(self) -> tuple[BudgetRow, float]:
        """The largest row of the budget, and its share of the variance."""
        largest = max(self.criterion.budget, key=lambda row: row.contribution)
        return largest, self.share_of(largest)

    def share_of(self, row: BudgetRow) -> float:
        """Share of a row in the variance."""
        u = self.criterion.standard_uncertainty or 0.0
        return row.contribution**2 / u**2 if u else 0.0


def rehearsed(
    kind: Kind, circumstances: Circumstances, loads: Loads, terms: Terms
) -> Iterator[Rehearsed]:
    """Each criterion of a kind at each load once, as found; those without value are left out.

    Raises:
        SenseError: with these weights there is no such check on this balance.
    """
    names = {name.name: name for name in kind.criteria}
    seen: set[tuple[str, Load]] = set()
    for rehearsal in kind.rehearse(circumstances, loads):
        evaluation = kind.evaluate(rehearsal.check, terms)
        found = tuple(met(evaluation, rehearsal.load))
        for criterion in evaluation.criteria:
            place = (criterion.name, rehearsal.load)
            if criterion.value is None or place in seen:
                continue
            seen.add(place)
            yield Rehearsed(
                kind,
                names[criterion.name],
                criterion,
                rehearsal.load,
                terms,
                circumstances,
                rehearsal.steps,
                evaluation.results,
                found,
            )


def rehearsed_at(
    place: tuple[str, ...],
    kind: Kind,
    circumstances: Circumstances,
    loads: Loads,
    terms: Terms,
) -> list[Rehearsed]:
    """The same, with what is wrong told of a place of the request: it states no readings.

    Raises:
        SenseError: with these weights there is no such check on this balance.
    """
    try:
        return list(rehearsed(kind, circumstances, loads, terms))
    except SenseError as error:
        raise SenseError(
            Flaw(place, "not-possible", f"no {kind.slug} check with these weights: {flaw.detail}")
            for flaw in error.flaws
        ) from None


def budget_json(of: Rehearsed) -> list[dict[str, Any]]:
    """The budget as an answer shows it, each row with its share of the variance."""
    return [{**budget_row(row), "share": number(of.share_of(row))} for row in of.criterion.budget]


def chances_json(chances: Chances) -> dict[str, Any]:
    """As a review shows them, but what is smaller than the last digits of a sum of panels as 0."""
    of_one, of_all = chances.one_set, chances.all_sets
    return {"one_set": number(round(of_one, _SURE)), "all_sets": number(round(of_all, _SURE))}
