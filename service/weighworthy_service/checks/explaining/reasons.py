"""Findings that rest on figures, reckoned by hand: what voids a check or weakens a verdict."""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from weighworthy_service.checks.advice import FEW_DEGREES_OF_FREEDOM, WEAK_RATIO
from weighworthy_service.checks.explaining.budget import Reckoned
from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import ascending, choice, largest, total
from weighworthy_service.checks.explaining.inputs import Inputs, of_weight, reading, setting
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.terms import Terms
from weighworthy_service.json_document import pointer


class Reasons:
    """The findings of an answer, and the conditions that they rest on."""

    def __init__(self, inputs: Inputs, findings: Sequence[Finding]) -> None:
        self._inputs, self._findings = inputs, findings

    def unless(self, code: str, kept: Formula, field: str | None, key: str = "") -> None:
        """A finding that is made unless a condition is kept."""
        self._reason(code, choice(kept, "kept", code), field, key)

    def when(self, code: str, true: Formula, field: str | None, key: str = "") -> None:
        """A finding that is made when a condition is true."""
        self._reason(code, choice(true, code, "no finding"), field, key)

    def said(self, code: str, field: str) -> list[str]:
        """Where the sentence of such a finding stands."""
        return [place.replace("/code", "/message") for place in self._places(code, field, "")]

    def _reason(self, code: str, of: Formula, field: str | None, key: str) -> None:
        gives = self._places(code, field, key)
        # Of places that share a finding one may be shown that has no part in it.
        if gives and of.value == code:
            self._inputs.sheet.step(f"why {code}", "finding", of, gives=gives)

    def _places(self, code: str, field: str | None, key: str) -> list[str]:
        prefix = f"{key}: " if key else ""
        return [
            f"/findings/{k}/code"
            for k, finding in enumerate(self._findings)
            if (finding.code, finding.field) == (code, field) and finding.message.startswith(prefix)
        ]

    def of_a_case(
        self,
        found: Reckoned,
        limits: tuple[Figure | None, Figure | None] | None,
        *,
        guard: Figure | None,
        value: Figure,
        weights: Mapping[str, Formula],
        terms: Terms,
        key: str,
        field: str | None,
    ) -> None:
        """What is said of one criterion besides its verdict."""
        if found.degrees is not None:
            enough = ascending(formula(FEW_DEGREES_OF_FREEDOM), found.degrees)
            self.unless("few-degrees-of-freedom", enough, field, key)
        if limits is None:
            return
        lower, upper = limits
        half: Formula
        if lower is not None and upper is not None:
            half = (upper - lower) / 2
            took = [found.expanded] if guard is None else [found.expanded, guard]
            self.unless(
                "uncertainty-exceeds-tolerance", ascending(largest(*took), half), field, key
            )
            ratio = (upper - lower) / (2 * found.expanded)
            self.unless("weak-ratio", ascending(formula(WEAK_RATIO), ratio), field, key)
            if terms.decision.rounding_to is not None:
                step = setting("place", terms.decision.rounding_to, "decision.rounding_to")
                self.unless("rounding-exceeds-tolerance", ascending(step, half), field, key)
        else:
            side = lower or upper
            assert side is not None  # noqa: S101  one limit there is
            half = abs(side)
        inside = ascending(*(part for part in (lower, value, upper) if part is not None))
        self.when("conformity-not-shown", inside, field, key)
        share = terms.validity.weights_at_most
        if share is not None and weights:
            text = f"{share.numerator}/{share.denominator}"
            most = Figure(
                "share",
                text,
                Fraction(share.numerator, share.denominator),
                "setting validity.weights_at_most",
            )
            parts = [abs(c) * self._allowance(name) for name, c in weights.items()]
            self.unless("weights-too-coarse", ascending(total(parts), most * half), field, key)

    def of_a_reading(self, shown: Figure, field: str) -> None:
        """Whether the balance could hold what it shows, or what lies on it."""
        if self._inputs.here.instrument.capacity is not None:
            most = self._inputs.instrument("Max", "capacity")
            self.unless("overload", ascending(shown, most), field)

    def of_the_sitting(self, used: Iterable[str], terms: Terms) -> None:
        """Of the warm-up and of the weights."""
        here, required = self._inputs.here, terms.validity.warm_up
        if required is not None and here.warm_up is not None:
            least = setting("least", required.at_least, "validity.warm_up.at_least")
            enough = ascending(least, reading("warm_up", here.warm_up, "warm_up"))
            self.unless("warm-up-short", enough, "/warm_up")
        for name in dict.fromkeys(used):
            weight = here.weights[name]
            if weight.certified and weight.class_limit is not None:
                field, expanded = pointer("weights", name), self._allowance(name)
                mpe = self._inputs.mpe(weight)
                mass = of_weight(weight, "m", "conventional_mass")
                off = abs(mass - self._inputs.nominal_of(weight))
                self.unless("weight-outside-class", ascending(off, mpe - expanded), field)
                self.unless("certificate-too-coarse", ascending(3 * expanded, mpe), field)

    def _allowance(self, name: str) -> Formula:
        """What a weight may be off by: U of the certificate at k = 2, or the class limit."""
        weight = self._inputs.here.weights[name]
        if not weight.certified:
            return self._inputs.mpe(weight)
        expanded = of_weight(weight, "U", "expanded_uncertainty")
        if weight.coverage_factor is None:
            return expanded
        return 2 * expanded / of_weight(weight, "k", "coverage_factor")
