"""One number held against its limit: the criterion, and what a reader must know about it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import cached_property, partial
from typing import NamedTuple

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.held import Held, Ratio, Standard, Subject, guard_on, verdict_on
from weighworthy_service.checks.outcome import Criterion, CriterionName, Finding, criticality
from weighworthy_service.checks.terms import Decision, Terms
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.budget import BudgetRow, Uncertainty, combine
from weighworthy_service.metrology.conformity import Decided, Tolerance
from weighworthy_service.metrology.limits import Interval


@dataclass(frozen=True, slots=True)
class Computed:
    """A criterion's value with its budget, before anyone judges it; the rest as in `Subject`."""

    key: str
    value: Decimal | Fraction
    rows: Sequence[BudgetRow]
    weights_error: Fraction
    load: Decimal | None = None
    index: int | None = None
    stage: str | None = None
    place: tuple[str | int, ...] = ()


class Ground(NamedTuple):
    """What the criterion of one load rests on besides its value; places of that load share it."""

    uncertainty: Uncertainty
    weights_error: Fraction
    standard: Standard


@dataclass(frozen=True)
class Judged:
    """A judged value with its findings and, where it has one, what it was held against.

    Its criterion is written out when asked for: of many places an answer shows one. `room`: that
    within the tolerance, as a ratio.
    """

    write: Callable[[], Criterion]
    findings: tuple[Finding, ...]
    value: Decimal | Fraction | None = None
    expanded: Decimal | None = None
    verdict: Decided | None = None
    tolerance: Tolerance | None = None
    room: Ratio = (0, 1)

    @cached_property
    def criterion(self) -> Criterion:
        """As an answer shows it."""
        return self.write()

    @property
    def limits(self) -> tuple[Fraction | None, Fraction | None]:
        """Lower and upper one."""
        return (None, None) if self.tolerance is None else self.tolerance.limits

    @cached_property
    def margin(self) -> Fraction | None:
        """As in the criterion."""
        halves = None if self.tolerance is None else self.tolerance.margin(*self.room)
        return None if halves is None else Fraction(*halves)

    @property
    def distance(self) -> Fraction | None:
        """As in the criterion."""
        return None if self.tolerance is None else self.tolerance.distance(*self.room)


def unjudged(criterion: Criterion, *findings: Finding) -> Judged:
    """A criterion that has no value."""
    return Judged(lambda: criterion, findings)


def judge(
    name: CriterionName,
    computed: Computed,
    terms: Terms,
    circumstances: Circumstances,
) -> Judged:
    """Judge one computed number against the limit at its load."""
    ground = Ground(
        combine(computed.rows, terms.decision.coverage),
        computed.weights_error,
        Standard(name, computed.load, terms, circumstances),
    )
    subject = Subject(
        computed.key,
        computed.weights_error,
        computed.load,
        computed.index,
        computed.stage,
        computed.place,
    )
    return judge_value(name, subject, computed.value, terms, ground)


def judge_value(
    name: CriterionName, subject: Subject, value: Decimal | Fraction, terms: Terms, ground: Ground
) -> Judged:
    """The same on a ground that is known already."""
    held = Held(name, subject, terms, ground.standard)
    ratio, uncertainty = value.as_integer_ratio(), ground.uncertainty
    verdict, room = held.weigh(ratio, uncertainty.expanded)
    expanded, degrees = uncertainty.expanded, uncertainty.degrees_of_freedom
    found = held.advise(expanded, degrees, verdict, inside=room >= 0)
    return Judged(
        write=partial(held.criterion, value, uncertainty, verdict),
        findings=(*held.findings, *found),
        value=value,
        expanded=expanded,
        verdict=verdict,
        tolerance=held.tolerance,
        room=(room, ratio[1]),
    )


def decided(value: Fraction, expanded: Decimal, interval: Interval, decision: Decision) -> Decided:
    """The verdict on a value under a decision rule."""
    return decided_within(value, expanded, Tolerance(interval), decision)


def decided_within(
    value: Decimal | Fraction, expanded: Decimal, tolerance: Tolerance, decision: Decision
) -> Decided:
    """The same with an interval in whole numbers."""
    ratio = value.as_integer_ratio()
    guard = guard_on(expanded, tolerance, decision)
    return verdict_on(ratio, tolerance.room(*ratio), guard, tolerance, decision)


def missing(
    name: CriterionName,
    terms: Terms,
    key: str,
    place: tuple[str | int, ...],
    *,
    index: int | None = None,
    stage: str | None = None,
) -> Judged:
    """A criterion that cannot be computed from the request."""
    criterion = Criterion(key=key, name=name.name, unit=name.unit, index=index, stage=stage)
    in_force = terms.limits.get(name.name)
    if in_force is None or in_force.limit.when_present:
        return unjudged(criterion)
    message = f"{key} has a limit, but the request does not hold what it is computed from"
    finding = Finding("criterion-missing", "no-pass", message, pointer(*place) or None)
    return unjudged(criterion, finding)


def most_critical(judged: Sequence[Judged]) -> Judged:
    """Of several places of one criterion: worst verdict, then smallest margin, then order.

    What voids a check is reported of every place, the rest only of the chosen one.
    """
    chosen = min(judged, key=criticality)
    voiding = [
        finding
        for other in judged
        if other is not chosen
        for finding in other.findings
        if finding.severity in ("void", "no-pass")
    ]
    if not voiding:
        return chosen
    # The criterion stays the one that may have been written out already.
    return replace(chosen, write=lambda: chosen.criterion, findings=(*chosen.findings, *voiding))
