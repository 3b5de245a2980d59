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
from weighworthy_service.metrology.budget import Uncertainty
from weighworthy_service.metrology.conformity import (
    Decided,
    Tolerance,
    by_room,
    decide_rounded,
    guard_band,
    probability_between,
)
from weighworthy_service.metrology.limits import Basis, Interval, NotResolvedError

# Numerator, and a denominator above zero.
Ratio = tuple[int, int]


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


class Standard:
    """What a criterion is held against at one nominal load. `tolerance`; None: nothing."""

    def __init__(
        self,
        name: CriterionName,
        load: Decimal | None,
        terms: Terms,
        circumstances: Circumstances,
    ) -> None:
        self.tolerance: Tolerance | None = None
        self.source: str | None = None
        self._load = load
        self._lacking: str | None = None
        self._interval: Interval | None = None
        self._in_force = terms.limits.get(name.name)
        if self._in_force is None:
            return
        place, limit = self._in_force.place, self._in_force.limit
        self.source = f"{place}: {limit.source}" if limit.source else place
        try:
            interval = limit.at(Basis(circumstances.instrument, load, name.unit))
        except NotResolvedError as error:
            self._lacking = error.field
            return
        self._interval = interval
        if interval is not None and not _crossed(interval):
            self.tolerance = Tolerance(interval)

    def findings(self, subject: Subject) -> tuple[Finding, ...]:
        """Why a limit in force has no value here."""
        if self._in_force is None or self.tolerance is not None:
            return ()
        key, place = subject.key, pointer(*subject.place) or None
        if self._lacking == "load":
            message = (
                f"{key}: its limit refers to a load, and this check has none that is known: "
                "it takes a limit in the unit of the value"
            )
            return (Finding("not-stated", "no-pass", message, place),)
        if self._lacking is not None:
            message = f"{key}: its limit needs {self._lacking}, which the request does not state"
            field = pointer("instrument", self._lacking)
            return (Finding("not-stated", "no-pass", message, field),)
        if self._interval is None:
            message = (
                f"{key}: its limit has no value for a load of {self._load} g: the load lies "
                "above the last band, or neither side is limited"
            )
            return (Finding("no-limit-for-load", "void", message, place),)
        message = f"{key}: its limits leave no value between them for this balance and load"
        return (Finding("limits-cross", "no-pass", message, place),)


def _crossed(interval: Interval) -> bool:
    """Sides in units that only the balance relates."""
    lower, upper = interval.lower, interval.upper
    return lower is not None and upper is not None and upper < lower


class Held:
    """A criterion under its terms. `tolerance`: what it is held against; None: nothing.

    `findings`: what is to be said of any value, so why a limit has none here.
    """

    def __init__(
        self, name: CriterionName, subject: Subject, terms: Terms, standard: Standard
    ) -> None:
        self._name, self._subject, self._decision = name, subject, terms.decision
        self.tolerance, self._limit_source = standard.tolerance, standard.source
        self._advice = Advice(
            subject.key, self.tolerance, subject.weights_error, terms, subject.place
        )
        self.findings = (*standard.findings(subject), *self._advice.settled)
        self._guards: dict[Decimal, tuple[int, int]] = {}
        self._limits = (None, None) if self.tolerance is None else self.tolerance.limits
        self._rule = None if self.tolerance is None else _rule_name(terms.decision)
        self._ratios: dict[Decimal, Fraction | None] = {}

    def weigh(self, value: Ratio, expanded: Decimal) -> tuple[Decided | None, int]:
        """The verdict on a value, and its room within the tolerance; held against nothing, None
        and 0."""
        tolerance, decision = self.tolerance, self._decision
        if tolerance is None:
            return None, 0
        # Of two digits, an expanded uncertainty comes again and again in an archive.
        if expanded not in self._guards:
            self._guards[expanded] = guard_on(expanded, tolerance, decision)
        room = tolerance.room(*value)
        return verdict_on(value, room, self._guards[expanded], tolerance, decision), room

    def advise(
        self, expanded: Decimal, degrees: float, verdict: Decided | None, *, inside: bool
    ) -> list[Finding]:
        """What to say of a value besides its verdict; of any value stands in `findings`.

        `inside`: it keeps its limits.
        """
        return self._advice.on(expanded, degrees, verdict, inside=inside)

    def criterion(
        self, value: Decimal | Fraction, uncertainty: Uncertainty, verdict: Decided | None
    ) -> Criterion:
        """The criterion as an answer shows it."""
        margin = distance = probability = None
        tolerance = self.tolerance
        # Of two digits, an expanded uncertainty comes again and again in an archive.
        expanded = uncertainty.expanded
        if expanded not in self._ratios:
            self._ratios[expanded] = self._ratio(expanded)
        if tolerance is not None:
            numerator, denominator = value.as_integer_ratio()
            room = tolerance.room(numerator, denominator)
            distance = tolerance.distance(room, denominator)
            if halves := tolerance.margin(room, denominator):
                margin = Fraction(*halves)
            probability = probability_between(
                numerator / denominator,
                uncertainty.standard,
                uncertainty.degrees_of_freedom,
                tolerance.ends,
            )
        name, subject, limits = self._name, self._subject, self._limits
        return Criterion(
            key=subject.key,
            name=name.name,
            unit=name.unit,
            index=subject.index,
            stage=subject.stage,
            load=subject.load,
            value=value,
            lower_limit=limits[0],
            upper_limit=limits[1],
            standard_uncertainty=uncertainty.standard,
            expanded_uncertainty=expanded,
            coverage_factor=uncertainty.coverage_factor,
            degrees_of_freedom=uncertainty.degrees_of_freedom,
            conformance_probability=probability,
            margin=margin,
            distance=distance,
            tolerance_to_uncertainty=self._ratios[expanded],
            decision_rule=self._rule,
            verdict=verdict,
            limit_source=None if tolerance is None else self._limit_source,
            budget=uncertainty.rows,
        )

    def _ratio(self, expanded: Decimal) -> Fraction | None:
        """Half of the tolerance over an expanded uncertainty; None without a width above zero."""
        tolerance = self.tolerance
        if tolerance is None or not tolerance.width:
            return None
        u, per_u = expanded.as_integer_ratio()
        return Fraction(tolerance.width * per_u, 2 * tolerance.per * u)


def guard_on(expanded: Decimal, tolerance: Tolerance, decision: Decision) -> Ratio:
    """The guard band on the scale of a tolerance."""
    band = guard_band(decision.rule, decision.guard_factor, expanded)
    return band.numerator * tolerance.per, band.denominator


def verdict_on(
    value: Ratio, room: int, guard: Ratio, tolerance: Tolerance, decision: Decision
) -> Decided:
    """The verdict on a value that has this room within its tolerance, with this guard band."""
    if decision.rounding == "rounding":
        return decide_rounded(Fraction(*value), tolerance.interval, decision.rounding_to)
    return by_room(room * guard[1], guard[0] * value[1], decision.rule)


def _rule_name(decision: Decision) -> str:
    if decision.rule == "simple":
        return f"simple, {decision.rounding} method"
    return f"{decision.rule}, guard band {decision.guard_factor} U"
