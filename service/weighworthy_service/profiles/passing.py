"""How likely a check lets a balance into use, by how far it is off.

The model is that of JCGM 106:2012, 9, with normal errors, of which some are new in every check and
some last as long as one set of weights is used. And a display has steps. Where a criterion is a
difference of readings, its values have them too, and a limit acts midway between the last value
that it passes and the next. Of n roundings one is then in the steps themselves, and n - 1 are
rectangular deviations (see `stepped`): exact for an error against a zero that stands anywhere
between two steps, and for differences of such errors where the load stands anywhere, too, as the
error that both share does not count in them. A loss is a ratio of readings and brings its own
`Steps`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, sqrt
from typing import Final

from weighworthy_service.checks.judging import decided
from weighworthy_service.checks.outcome import Criterion, CriterionName
from weighworthy_service.checks.rehearsal import Steps
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow, standard_uncertainty
from weighworthy_service.metrology.conformity import acceptance_interval, guard_band
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.risk import Bends, Passing
from weighworthy_service.profiles.stepped import bends_of, stepped

_DIGITISATION: Final = "digitisation"


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of an error that is new in every check, and with what lasts beside it."""

    varying: float
    whole: float

    @classmethod
    def of(cls, budget: Sequence[BudgetRow]) -> "Spread":
        """The spread of a criterion whose balance has no error."""
        varying = [row for row in budget if row.varies]
        return cls(standard_uncertainty(varying), standard_uncertainty(budget))

    @property
    def lasting(self) -> float:
        """What all checks with one set of weights share."""
        return sqrt(max(0.0, self.whole**2 - self.varying**2))


@dataclass(frozen=True, slots=True)
class Acceptance:
    """How likely a balance is let into use, by how far it is off, in the unit of the criterion.

    `accepted`: the values, on a display with steps from midway to midway between them; `passes`: in
    one check, with errors that are new in every check only; `lasting`: the standard deviation of
    what all checks with one set of weights share; `bends`: see `risks_of`; `any_good`: whether a
    balance without error can show a value that lets it be used.
    """

    accepted: Interval
    passes: Passing
    lasting: float
    bends: Bends
    any_good: bool


def acceptance(
    name: CriterionName,
    criterion: Criterion,
    interval: Interval,
    terms: Terms,
    step: Decimal,
    *,
    steps: Steps | None = None,
) -> Acceptance:
    """The acceptance of a judged criterion, whose value a balance without error has shown.

    `steps`: how the steps of the display act on it, if it is no sum of readings.
    """
    assert criterion.expanded_uncertainty is not None  # noqa: S101  of every judged one
    assert criterion.value is not None  # noqa: S101
    expanded = criterion.expanded_uncertainty
    accepted = accepted_values(name, interval, terms, expanded)
    spread = Spread.of(criterion.budget)
    good = _contains_zero(accepted)
    ends_pass = _ends_pass(name, criterion, interval, accepted, terms)
    if steps is not None and steps.has_grid(step):
        passes = steps.passes(accepted, ends_pass, step, spread.varying)
        bends = bends_of(accepted, spread.varying, float(step), 0)
        return Acceptance(accepted, passes, spread.lasting, bends, good)
    standard, rectangular = spread.varying, 0
    if name.on_grid:
        shown = Fraction(criterion.value)
        accepted = midway(accepted, ends_pass, shown, Fraction(step))
        good = good and (accepted.lower is None or accepted.lower != accepted.upper)
        roundings = _roundings(criterion.budget, step)
        rectangular = max(0, roundings - 1)
        standard = sqrt(max(0.0, spread.varying**2 - roundings * float(step) ** 2 / 12))
    shape = (standard, float(step), rectangular)
    return Acceptance(
        accepted, stepped(accepted, *shape), spread.lasting, bends_of(accepted, *shape), good
    )


def _roundings(budget: Sequence[BudgetRow], step: Decimal) -> int:
    """How many rounded readings, of zeros and loads, are added up."""
    rows = [row for row in budget if row.source.startswith(_DIGITISATION)]
    return round(12 * standard_uncertainty(rows) ** 2 / float(step) ** 2)


def accepted_values(
    name: CriterionName, interval: Interval, terms: Terms, expanded: Decimal
) -> Interval:
    """The values of a criterion whose verdict lets an instrument be used."""
    accepted = _accepted(interval, terms, expanded)
    if name.magnitude and accepted.upper is not None:
        return Interval(-accepted.upper, accepted.upper)
    return accepted


def _accepted(interval: Interval, terms: Terms, expanded: Decimal) -> Interval:
    decision = terms.decision
    if decision.rounding == "rounding":
        places = (interval.lower_place, interval.upper_place)
        below, above = (Fraction(decision.rounding_to or place or 0) / 2 for place in places)
        return Interval(
            None if interval.lower is None else interval.lower - below,
            None if interval.upper is None else interval.upper + above,
        )
    guard = guard_band(decision.rule, decision.guard_factor, expanded)
    if decision.rule == "four-way" and "conditional-fail" in terms.use_on:
        guard = -guard
    elif decision.rule == "four-way" and "conditional-pass" in terms.use_on:
        guard = Fraction(0)
    return acceptance_interval(interval, guard)


def _ends_pass(
    name: CriterionName, criterion: Criterion, interval: Interval, accepted: Interval, terms: Terms
) -> tuple[bool, bool]:
    """Whether values on the ends are accepted: always, but for some that are rounded before."""
    assert criterion.expanded_uncertainty is not None  # noqa: S101
    lower, upper = (
        end is None
        or decided(
            abs(end) if name.magnitude else end,
            criterion.expanded_uncertainty,
            interval,
            terms.decision,
        )
        in terms.use_on
        for end in (accepted.lower, accepted.upper)
    )
    return lower, upper


def midway(
    accepted: Interval, ends_pass: tuple[bool, bool], shown: Fraction, step: Fraction
) -> Interval:
    """From midway below the first accepted value `shown` + n·`step` to midway above the last."""
    lower = upper = None
    if accepted.lower is not None:
        off = (accepted.lower - shown) / step
        first = ceil(off) if ends_pass[0] else floor(off) + 1
        lower = shown + (first - Fraction(1, 2)) * step
    if accepted.upper is not None:
        off = (accepted.upper - shown) / step
        last = floor(off) if ends_pass[1] else ceil(off) - 1
        upper = shown + (last + Fraction(1, 2)) * step
    if lower is not None and upper is not None and lower > upper:
        return Interval(lower, lower)
    return Interval(lower, upper)


def _contains_zero(accepted: Interval) -> bool:
    return (accepted.lower is None or accepted.lower <= 0) and (
        accepted.upper is None or accepted.upper >= 0
    )
