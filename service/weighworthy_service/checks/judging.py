"""One number held against its limit: the criterion, and what a reader must know about it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.held import Held, Standard, Subject, guard_on, verdict_on
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


@dataclass(frozen=True, slots=True)
class Judged:
    """A criterion with its findings and, where it has one, what it was held against."""

    criterion: Criterion
    findings: tuple[Finding, ...]
    tolerance: Tolerance | None = None


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
    verdict, _, found = held.weigh(*value.as_integer_ratio(), ground.uncertainty)
    criterion = held.criterion(value, ground.uncertainty, verdict)
    return Judged(criterion, (*held.findings, *found), held.tolerance)


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
        return Judged(criterion, ())
    message = f"{key} has a limit, but the request does not hold what it is computed from"
    finding = Finding("criterion-missing", "no-pass", message, pointer(*place) or None)
    return Judged(criterion, (finding,))


def most_critical(judged: Sequence[Judged]) -> Judged:
    """Of several places of one criterion: worst verdict, then smallest margin, then order.

    What voids a check is reported of every place, the rest only of the chosen one.
    """
    chosen = min(judged, key=lambda j: criticality(j.criterion))
    voiding = [
        finding
        for other in judged
        if other is not chosen
        for finding in other.findings
        if finding.severity in ("void", "no-pass")
    ]
    return replace(chosen, findings=(*chosen.findings, *voiding))
