"""What the figures of one criterion tell a reader besides its verdict."""

from collections.abc import Iterator
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.outcome import Criterion, Finding
from weighworthy_service.checks.terms import Severity, Terms
from weighworthy_service.metrology.conformity import guard_band, half_width
from weighworthy_service.metrology.limits import Interval

# Below these the estimate of the uncertainty, or the decision, deserves a warning.
FEW_DEGREES_OF_FREEDOM: Final = 4
WEAK_RATIO: Final = 3


def advise(
    criterion: Criterion, weights_error: Fraction, terms: Terms, field: str | None
) -> Iterator[Finding]:
    """Findings on one computed criterion; `weights_error` in its unit."""

    def finding(code: str, severity: Severity, message: str) -> Finding:
        return Finding(code, severity, f"{criterion.key}: {message}", field)

    degrees = criterion.degrees_of_freedom
    if degrees is not None and degrees < FEW_DEGREES_OF_FREEDOM:
        yield finding(
            "few-degrees-of-freedom",
            "warning",
            f"fewer than {FEW_DEGREES_OF_FREEDOM} effective degrees of freedom: "
            "the uncertainty itself is poorly known",
        )
    if criterion.verdict is None or criterion.expanded_uncertainty is None:
        return
    expanded = Fraction(criterion.expanded_uncertainty)
    interval = Interval(criterion.lower_limit, criterion.upper_limit)
    half = half_width(interval)
    if half is not None and _exceeds(expanded, half, terms):
        yield finding(
            "uncertainty-exceeds-tolerance",
            terms.validity.uncertainty_within_tolerance or "warning",
            "the uncertainty takes all of the tolerance; with these weights on this balance "
            "the limit cannot be shown to be kept",
        )
    elif half is not None and terms.decision.rule == "simple" and half < WEAK_RATIO * expanded:
        yield finding(
            "weak-ratio",
            "warning",
            f"the tolerance is less than {WEAK_RATIO} times the expanded uncertainty: "
            "near the limit, simple acceptance often errs",
        )
    step = terms.decision.rounding_to
    if step is not None and half is not None and Fraction(step) > half:
        yield finding(
            "rounding-exceeds-tolerance",
            "warning",
            "the place that values are rounded to is coarser than the tolerance itself",
        )
    inside = criterion.distance is not None and criterion.distance >= 0
    if terms.decision.rule == "guarded" and criterion.verdict == "fail" and inside:
        yield finding(
            "conformity-not-shown",
            "warning",
            "the value lies inside the tolerance but in its guard band; "
            "fail means here that conformity is not shown",
        )
    share = terms.validity.weights_at_most
    if share is not None:
        width = half if half is not None else _one_sided(interval)
        if weights_error * share.denominator > width * share.numerator:
            yield finding(
                "weights-too-coarse",
                share.otherwise,
                "what the weights themselves may be off by takes more than "
                f"{share.numerator}/{share.denominator} of the limit",
            )


def _exceeds(expanded: Fraction, half: Fraction, terms: Terms) -> bool:
    guard = guard_band(terms.decision.rule, terms.decision.guard_factor, expanded)
    return guard > half or expanded > half


def _one_sided(interval: Interval) -> Fraction:
    return abs(interval.upper if interval.upper is not None else interval.lower or Fraction(0))
