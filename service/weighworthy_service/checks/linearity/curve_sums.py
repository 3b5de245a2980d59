"""Weighted sums of the errors of a curve, each with its uncertainty: what it says of one cause.

Masses and errors in g. Between loads the curve is interpolated in straight lines; what a bend may
hide there is added to the expanded uncertainty. Beyond the heaviest load it says nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.causes import Cause, Sight
from weighworthy_service.checks.contributions import combined, error_rows
from weighworthy_service.checks.linearity.check import LinearityCheck
from weighworthy_service.checks.linearity.curve import MeanError, PointRead, mean_errors
from weighworthy_service.checks.linearity.evaluation import POINT_ERROR
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import combine

Parts = Sequence[tuple[Fraction, MeanError]]
_NOTHING = Fraction(0)


@dataclass(frozen=True, slots=True)
class CurveSum:
    """A sum of errors of the curve; `allowance`: how far interpolating may put it off."""

    parts: Parts
    allowance: Fraction = _NOTHING


class Curve:
    """The curve of a check, to be asked."""

    def __init__(self, check: LinearityCheck, terms: Terms, points: Sequence[PointRead]) -> None:
        self._check, self._terms = check, terms
        self.means = mean_errors(points)

    def sight(self, cause: Cause, of: CurveSum, what: str) -> Sight:
        """What the sum, whose sensitivity to the cause is 1, says of it."""
        value = sum((c * m.error for c, m in of.parts), _NOTHING)
        expanded = 0.0
        if of.parts:
            here = self._check.circumstances
            rows = error_rows(
                combined([(c, m.effects) for c, m in of.parts]),
                here,
                self._terms.weights_correlation,
                adjusted=here.occasion == "after-adjustment",
            )
            expanded = float(combine(rows, self._terms.decision.coverage).expanded)
        expanded += float(of.allowance)
        return Sight(cause, POINT_ERROR.name, float(value), expanded, 1.0, 1.0, what)

    def fitted(self, cause: Cause, shape: Sequence[Fraction], what: str) -> Sight:
        """Least squares of a cause that alone has this shape: how it acts on each mean."""
        norm = dot(shape, shape)
        parts = [(s / norm, m) for s, m in zip(shape, self.means, strict=True) if s]
        return self.sight(cause, CurveSum(parts), what)

    def bow(self, capacity: Decimal) -> list[Fraction]:
        """How a bow at half the capacity acts, without what a gain beside it would do."""
        masses, most = [m.mass for m in self.means], Fraction(capacity)
        bow = [4 * mass / most * (1 - mass / most) for mass in masses]
        slope = dot(bow, masses) / dot(masses, masses)
        return [b - slope * mass for b, mass in zip(bow, masses, strict=True)]

    def between(self, initial: Decimal, final: Decimal) -> CurveSum | None:
        """The departure at `final` from the line through zero and the curve at `initial`."""
        start, end = self.at(initial), self.at(final)
        if start is None or end is None:
            return None
        share = Fraction(final) / Fraction(initial)
        parts = [*end.parts, *((-share * c, m) for c, m in start.parts)]
        return CurveSum(parts, end.allowance + share * start.allowance)

    def from_others(self, load: Decimal) -> CurveSum | None:
        """The departure at a load from the line through zero that all others fit best."""
        others = [m for m in self.means if m.load != load]
        own = next((m for m in self.means if m.load == load), None)
        if own is None or not others:
            return None
        norm = dot(*[[m.mass for m in others]] * 2)
        return CurveSum([(Fraction(1), own), *((-own.mass * m.mass / norm, m) for m in others)])

    def at(self, load: Decimal) -> CurveSum | None:
        """The error at a load."""
        exact = next((m for m in self.means if m.load == load), None)
        if exact is not None:
            return CurveSum([(Fraction(1), exact)])
        above = next((i for i, m in enumerate(self.means) if m.load > load), None)
        if above is None or load <= 0:
            return None
        at, high = Fraction(load), self.means[above]
        low = self.means[above - 1] if above else None
        begin, end = (low.mass if low else _NOTHING), high.mass
        share = (at - begin) / (end - begin)
        parts = [(share, high), *([(1 - share, low)] if low else [])]
        return CurveSum(parts, abs(self._bend(above) * (at - begin) * (end - at)))

    def _bend(self, above: int) -> Fraction:
        """The larger second divided difference beside an interval: half the curvature, 1/g."""
        mass = [_NOTHING, *(m.mass for m in self.means)]
        error = [_NOTHING, *(m.error for m in self.means)]

        def second(i: int) -> Fraction:
            first = (error[i + 1] - error[i]) / (mass[i + 1] - mass[i])
            then = (error[i + 2] - error[i + 1]) / (mass[i + 2] - mass[i + 1])
            return abs((then - first) / (mass[i + 2] - mass[i]))

        beside = [i for i in (above - 1, above) if i >= 0 and i + 2 < len(mass)]
        return max((second(i) for i in beside), default=_NOTHING)


def dot(one: Sequence[Fraction], other: Sequence[Fraction]) -> Fraction:
    """The sum of products."""
    return sum((a * b for a, b in zip(one, other, strict=True)), _NOTHING)
