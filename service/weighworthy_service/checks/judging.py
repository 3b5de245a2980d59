"""One number held against its limit: the criterion, and what a reader must know about it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.advice import advise
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Criterion, CriterionName, Finding, criticality
from weighworthy_service.checks.terms import Decision, LimitInForce, Terms
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology import conformity
from weighworthy_service.metrology.budget import BudgetRow, Uncertainty, combine
from weighworthy_service.metrology.limits import Basis, Interval, NotResolvedError


@dataclass(frozen=True, slots=True)
class Computed:
    """A criterion's value with its budget, before anyone judges it.

    `load` is the nominal load in g that chooses the band and scales percentages; `weights_error`
    the largest error the weights themselves may bring in; `place` a path in the request.
    """

    key: str
    value: Decimal | Fraction
    rows: Sequence[BudgetRow]
    weights_error: Fraction
    load: Decimal | None = None
    index: int | None = None
    stage: str | None = None
    place: tuple[str | int, ...] = ()


@dataclass(frozen=True, slots=True)
class Judged:
    """A criterion with its findings and, where it has one, its tolerance interval."""

    criterion: Criterion
    findings: tuple[Finding, ...]
    interval: Interval | None = None


def judge(
    name: CriterionName,
    computed: Computed,
    terms: Terms,
    circumstances: Circumstances,
) -> Judged:
    """Judge one computed number against the limit at its load."""
    uncertainty = combine(computed.rows, terms.decision.coverage)
    interval: Interval | None = None
    findings: list[Finding] = []
    in_force = terms.limits.get(name.name)
    if in_force is not None:
        basis = Basis(circumstances.instrument, computed.load, name.unit)
        interval, findings = _interval(in_force, basis, computed)
    criterion = _criterion(name, computed, uncertainty)
    if interval is not None and in_force is not None:
        criterion = _decided(criterion, interval, terms, in_force)
    findings += advise(criterion, computed.weights_error, terms, pointer(*computed.place) or None)
    return Judged(criterion, tuple(findings), interval)


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


def _interval(
    in_force: LimitInForce, basis: Basis, computed: Computed
) -> tuple[Interval | None, list[Finding]]:
    try:
        interval = in_force.limit.at(basis)
    except NotResolvedError as error:
        message = f"{computed.key}: its limit needs {error.field}, which the request does not state"
        return None, [Finding("not-stated", "no-pass", message, pointer("instrument", error.field))]
    if interval is None:
        message = (
            f"{computed.key}: its limit has no value for a load of {basis.load} g: the load lies "
            "above the last band, or neither side is limited"
        )
        return None, [
            Finding("no-limit-for-load", "void", message, pointer(*computed.place) or None)
        ]
    half = conformity.half_width(interval)
    if half is not None and half < 0:  # sides in units that only the balance relates
        message = (
            f"{computed.key}: its limits leave no value between them for this balance and load"
        )
        return None, [Finding("limits-cross", "no-pass", message, pointer(*computed.place) or None)]
    return interval, []


def _criterion(name: CriterionName, computed: Computed, uncertainty: Uncertainty) -> Criterion:
    return Criterion(
        key=computed.key,
        name=name.name,
        unit=name.unit,
        index=computed.index,
        stage=computed.stage,
        load=computed.load,
        value=computed.value,
        standard_uncertainty=uncertainty.standard,
        expanded_uncertainty=uncertainty.expanded,
        coverage_factor=uncertainty.coverage_factor,
        degrees_of_freedom=uncertainty.degrees_of_freedom,
        budget=uncertainty.rows,
    )


def decided(
    value: Fraction, expanded: Decimal, interval: Interval, decision: Decision
) -> conformity.Decided:
    """The verdict on a value under a decision rule."""
    if decision.rounding == "rounding":
        return conformity.decide_rounded(value, interval, decision.rounding_to)
    guard = conformity.guard_band(decision.rule, decision.guard_factor, expanded)
    return conformity.decide(value, interval, decision.rule, guard)


def _decided(
    criterion: Criterion, interval: Interval, terms: Terms, in_force: LimitInForce
) -> Criterion:
    assert criterion.value is not None  # noqa: S101  computed criteria have all four
    assert criterion.standard_uncertainty is not None  # noqa: S101
    assert criterion.expanded_uncertainty is not None  # noqa: S101
    assert criterion.degrees_of_freedom is not None  # noqa: S101
    value = Fraction(criterion.value)
    half = conformity.half_width(interval)
    room = conformity.distance(value, interval)
    source = f": {in_force.limit.source}" if in_force.limit.source else ""
    return replace(
        criterion,
        lower_limit=interval.lower,
        upper_limit=interval.upper,
        conformance_probability=conformity.conformance_probability(
            float(value), criterion.standard_uncertainty, criterion.degrees_of_freedom, interval
        ),
        margin=room / half if half else None,
        distance=room,
        tolerance_to_uncertainty=half / Fraction(criterion.expanded_uncertainty) if half else None,
        decision_rule=_rule_name(terms.decision),
        verdict=decided(value, criterion.expanded_uncertainty, interval, terms.decision),
        limit_source=f"{in_force.place}{source}",
    )


def _rule_name(decision: Decision) -> str:
    if decision.rule == "simple":
        return f"simple, {decision.rounding} method"
    return f"{decision.rule}, guard band {decision.guard_factor} U"
