"""A loss as the whole sitting shows it: what bounds its gain, and what its linearity leaves.

These are statements beside the answer of the check, which stays as it would be alone.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import sqrt

from weighworthy_service.checks.judging import decided
from weighworthy_service.checks.outcome import Criterion, Verdict
from weighworthy_service.metrology.budget import BudgetRow, combine
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.sittings.judged import JudgedCheck
from weighworthy_service.sittings.sights import Shown, Sights


@dataclass(frozen=True, slots=True)
class LinearityOf:
    """What a curve says of a loss between two loads.

    `departure`: as that check shows it, in g; `effect` and `expanded`: what that does to the loss,
    in %. `budget`: that of the loss with the effect as one row more, rectangular about zero;
    `allowed`: the expanded uncertainty by that budget, `verdict`: the one it would lead to.
    """

    departure: Shown
    effect: float
    expanded: float
    budget: tuple[BudgetRow, ...]
    allowed: Decimal
    verdict: Verdict | None


@dataclass(frozen=True, slots=True)
class LossShown:
    """A loss with what other checks say of it. `gain`: the closest bound of a constant gain, which
    cancels in the loss; `loads`: nominal, in g."""

    judged: JudgedCheck
    criterion: Criterion
    loads: tuple[Decimal, ...]
    gain: Shown | None
    linearity: tuple[LinearityOf, ...]


def losses_shown(judged: Sequence[JudgedCheck], sights: Sights) -> Iterator[LossShown]:
    """Every loss that is not void: what shows a departure from linearity between two loads."""
    for shown in sights.all:
        cause = shown.cause
        if cause.name != "departure" or len(cause.loads) < 2 or not shown.counts:
            continue
        one = next(j for j in judged if j.index == shown.index)
        criterion = next(c for c in one.evaluation.criteria if c.key == shown.sight.criterion)
        curves = [other for other in sights.asked(cause) if other.index != one.index]
        yield LossShown(
            one,
            criterion,
            cause.loads,
            _gain(sights, sights.state(one)),
            tuple(_linearity(one, criterion, shown.sight.least, curve) for curve in curves),
        )


def _gain(sights: Sights, state: int) -> Shown | None:
    """The closest bound of the gain that the balance had by then."""
    found = [
        shown
        for shown in sights.all
        if shown.cause.name == "gain" and shown.cause.after == state and shown.counts
    ]
    return min(found, key=lambda s: s.sight.size[1] - s.sight.size[0], default=None)


def _linearity(
    one: JudgedCheck, criterion: Criterion, sensitivity: float, curve: Shown
) -> LinearityOf:
    effect = sensitivity * curve.sight.value
    rows = criterion.budget
    if effect:
        source = f"departure from linearity, by check {curve.index + 1}"
        u = abs(effect) / sqrt(3)
        rows = (*rows, BudgetRow(source, "rectangular", u, criterion.unit, 1.0))
    decision = one.terms.decision
    allowed = combine(rows, decision.coverage).expanded
    limits = Interval(criterion.lower_limit, criterion.upper_limit)
    verdict: Verdict | None = None
    if criterion.verdict is not None and criterion.value is not None:
        verdict = decided(Fraction(criterion.value), allowed, limits, decision)
    expanded = abs(sensitivity) * curve.sight.expanded
    return LinearityOf(curve, effect, expanded, rows, allowed, verdict)
