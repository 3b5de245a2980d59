"""What the figures of one criterion tell a reader besides its verdict."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.terms import Severity, Terms
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.conformity import Decided, Tolerance

# Below these the estimate of the uncertainty, or the decision, deserves a warning.
FEW_DEGREES_OF_FREEDOM: Final = 4
WEAK_RATIO: Final = 3
_NEXT_TO: Final = 1e-6


def is_few(degrees: float) -> bool | None:
    """Whether degrees of freedom are too few; None where the last digits of a float decide."""
    if abs(degrees - FEW_DEGREES_OF_FREEDOM) < _NEXT_TO:
        return None
    return degrees < FEW_DEGREES_OF_FREEDOM


class Advice:
    """Findings on one criterion, settled but for its uncertainty and verdict.

    `weights_error` in its unit; `place`: a path in the request.
    """

    def __init__(
        self,
        key: str,
        tolerance: Tolerance | None,
        weights_error: Fraction,
        terms: Terms,
        place: tuple[str | int, ...],
    ) -> None:
        self._key, self._tolerance, self._place = key, tolerance, place
        self._rule = terms.decision.rule
        guard = terms.decision.guard_factor if self._rule != "simple" else Decimal(0)
        self._guard = guard.as_integer_ratio()
        self._exceeding = terms.validity.uncertainty_within_tolerance or "warning"
        self._by_expanded: dict[Decimal, tuple[Finding, ...]] = {}
        self.settled: tuple[Finding, ...] = ()
        if tolerance is not None:
            self.settled = tuple(self._of_the_limit(tolerance, weights_error, terms))

    def on(
        self, expanded: Decimal, degrees: float, verdict: Decided | None, *, inside: bool
    ) -> list[Finding]:
        """More findings on a verdict, or on none; `inside`: the value keeps the limits."""
        found = []
        # Of five readings they are four, whatever the last digit of a float says.
        if is_few(degrees):
            message = (
                f"fewer than {FEW_DEGREES_OF_FREEDOM} effective degrees of freedom: "
                "the uncertainty itself is poorly known"
            )
            found.append(self._finding("few-degrees-of-freedom", "warning", message))
        if verdict is None:
            return found
        if expanded not in self._by_expanded:
            self._by_expanded[expanded] = tuple(self._of_the_ratio(expanded))
        found += self._by_expanded[expanded]
        if inside and verdict == "fail" and self._rule == "guarded":
            message = (
                "the value lies inside the tolerance but in its guard band; "
                "fail means here that conformity is not shown"
            )
            found.append(self._finding("conformity-not-shown", "warning", message))
        return found

    def _of_the_ratio(self, expanded: Decimal) -> Iterator[Finding]:
        """U and guard band against half of the tolerance, which is width/(2·per)."""
        if self._tolerance is None or self._tolerance.width is None:
            return
        u, per_u = expanded.as_integer_ratio()
        r, per_r = self._guard
        twice, whole = 2 * u * self._tolerance.per, self._tolerance.width * per_u
        if twice > whole or r * twice > whole * per_r:
            message = (
                "the uncertainty takes all of the tolerance; checked in this way, "
                "the limit cannot be shown to be kept"
            )
            yield self._finding("uncertainty-exceeds-tolerance", self._exceeding, message)
        elif self._rule == "simple" and whole < WEAK_RATIO * twice:
            message = (
                f"the tolerance is less than {WEAK_RATIO} times the expanded uncertainty: "
                "near the limit, simple acceptance often errs"
            )
            yield self._finding("weak-ratio", "warning", message)

    def _of_the_limit(
        self, tolerance: Tolerance, weights_error: Fraction, terms: Terms
    ) -> Iterator[Finding]:
        step = terms.decision.rounding_to
        if step is not None and tolerance.half is not None and Fraction(step) > tolerance.half:
            message = "the place that values are rounded to is coarser than the tolerance itself"
            yield self._finding("rounding-exceeds-tolerance", "warning", message)
        share = terms.validity.weights_at_most
        if share is None:
            return
        most = weights_error.denominator * tolerance.extent * share.numerator
        if 2 * weights_error.numerator * tolerance.per * share.denominator > most:
            message = (
                "what the weights themselves may be off by takes more than "
                f"{share.numerator}/{share.denominator} of the limit"
            )
            yield self._finding("weights-too-coarse", share.otherwise, message)

    def _finding(self, code: str, severity: Severity, message: str) -> Finding:
        field = pointer(*self._place) or None
        return Finding(code, severity, f"{self._key}: {message}", field)
