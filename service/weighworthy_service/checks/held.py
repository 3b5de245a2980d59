"""A criterion held against its limit: everything settled but its value and its uncertainty.

Values are ratios of whole numbers, so that all that is decided is exact and quick.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.advice import Advice
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Criterion, CriterionName, Finding
from weighworthy_service.checks.terms import Decision, Terms
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology import conformity
from weighworthy_service.metrology.budget import Uncertainty
from weighworthy_service.metrology.conformity import Decided, Tolerance
from weighworthy_service.metrology.limits import Basis, Interval, NotResolvedError


@dataclass(frozen=True, slots=True)
class Subject:
    """What a criterion is about.

    `load` is the nominal load in g that chooses the band and scales percentages; `weights_error`
    the largest error the weights themselves may bring in; `place` a path in the request.
    """

    key: str
    weights_error: Fraction
    load: Decimal | None = None
    index: int | None = None
    stage: str | None = None
    place: tuple[str | int, ...] = ()


class Held:
    """A criterion under its terms. `tolerance`: what it is held against; None: nothing.

    `findings` tell why a limit has no value here.
    """

    def __init__(
        self, name: CriterionName, subject: Subject, terms: Terms, circumstances: Circumstances
    ) -> None:
        self._name, self._subject, self._decision = name, subject, terms.decision
        self.findings: tuple[Finding, ...] = ()
        self.tolerance: Tolerance | None = None
        self._limit_source: str | None = None
        in_force = terms.limits.get(name.name)
        if in_force is not None:
            source = in_force.limit.source
            self._limit_source = f"{in_force.place}: {source}" if source else in_force.place
            basis = Basis(circumstances.instrument, subject.load, name.unit)
            try:
                interval = in_force.limit.at(basis)
            except NotResolvedError as error:
                self.findings = (_not_resolved(subject, error),)
            else:
                self.findings = _not_judged(subject, interval)
                if interval is not None and not self.findings:
                    self.tolerance = Tolerance(interval)
        field = pointer(*subject.place) or None
        self._advice = Advice(subject.key, self.tolerance, subject.weights_error, terms, field)

    def verdict(self, numerator: int, denominator: int, expanded: Decimal) -> Decided | None:
        """The verdict on a value; None where it is held against nothing."""
        if self.tolerance is None:
            return None
        return verdict_on(numerator, denominator, expanded, self.tolerance, self._decision)

    def advice(
        self, numerator: int, denominator: int, uncertainty: Uncertainty, verdict: Decided | None
    ) -> list[Finding]:
        """What the figures tell a reader besides the verdict."""
        inside = self.tolerance is not None and self.tolerance.room(numerator, denominator) >= 0
        return self._advice.on(
            uncertainty.expanded, uncertainty.degrees_of_freedom, verdict, inside=inside
        )

    def criterion(
        self, value: Decimal | Fraction, uncertainty: Uncertainty, verdict: Decided | None
    ) -> Criterion:
        """The criterion as an answer shows it."""
        margin = distance = ratio = probability = None
        tolerance, limits = self.tolerance, Interval()
        if tolerance is not None:
            limits = tolerance.interval
            numerator, denominator = value.as_integer_ratio()
            room = tolerance.room(numerator, denominator)
            distance = Fraction(room, tolerance.per * denominator)
            if tolerance.width:
                margin = Fraction(*tolerance.margin(numerator, denominator))
                ratio = Fraction(tolerance.width, 2 * tolerance.per) / Fraction(
                    uncertainty.expanded
                )
            probability = conformity.conformance_probability(
                numerator / denominator,
                uncertainty.standard,
                uncertainty.degrees_of_freedom,
                limits,
            )
        name, subject, judged = self._name, self._subject, tolerance is not None
        return Criterion(
            key=subject.key,
            name=name.name,
            unit=name.unit,
            index=subject.index,
            stage=subject.stage,
            load=subject.load,
            value=value,
            lower_limit=limits.lower,
            upper_limit=limits.upper,
            standard_uncertainty=uncertainty.standard,
            expanded_uncertainty=uncertainty.expanded,
            coverage_factor=uncertainty.coverage_factor,
            degrees_of_freedom=uncertainty.degrees_of_freedom,
            conformance_probability=probability,
            margin=margin,
            distance=distance,
            tolerance_to_uncertainty=ratio,
            decision_rule=_rule_name(self._decision) if judged else None,
            verdict=verdict,
            limit_source=self._limit_source if judged else None,
            budget=uncertainty.rows,
        )


def verdict_on(
    numerator: int, denominator: int, expanded: Decimal, tolerance: Tolerance, decision: Decision
) -> Decided:
    """The verdict on a ratio of whole numbers, with its expanded uncertainty, under a rule."""
    if decision.rounding == "rounding":
        value = Fraction(numerator, denominator)
        return conformity.decide_rounded(value, tolerance.interval, decision.rounding_to)
    room = tolerance.room(numerator, denominator)
    if decision.rule == "simple":
        return conformity.by_room(room, 0, decision.rule)
    # Room and guard band over the product of all their denominators.
    r, per_r = decision.guard_factor.as_integer_ratio()
    u, per_u = expanded.as_integer_ratio()
    guard = r * u * tolerance.per * denominator
    return conformity.by_room(room * per_r * per_u, guard, decision.rule)


def _not_resolved(subject: Subject, error: NotResolvedError) -> Finding:
    message = f"{subject.key}: its limit needs {error.field}, which the request does not state"
    return Finding("not-stated", "no-pass", message, pointer("instrument", error.field))


def _not_judged(subject: Subject, interval: Interval | None) -> tuple[Finding, ...]:
    """Why nothing can be held against the limit, if so."""
    place = pointer(*subject.place) or None
    if interval is None:
        message = (
            f"{subject.key}: its limit has no value for a load of {subject.load} g: the load lies "
            "above the last band, or neither side is limited"
        )
        return (Finding("no-limit-for-load", "void", message, place),)
    lower, upper = interval.lower, interval.upper
    if lower is not None and upper is not None and upper < lower:
        # Sides in units that only the balance relates.
        message = f"{subject.key}: its limits leave no value between them for this balance and load"
        return (Finding("limits-cross", "no-pass", message, place),)
    return ()


def _rule_name(decision: Decision) -> str:
    if decision.rule == "simple":
        return f"simple, {decision.rounding} method"
    return f"{decision.rule}, guard band {decision.guard_factor} U"
