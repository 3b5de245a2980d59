"""What one combination of weights is worth as a simulated loss, and which are worth showing."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.loss import Basis
from weighworthy_service.plans.asking import LOSS, loss_loads
from weighworthy_service.plans.combinations import Combination
from weighworthy_service.plans.rehearsed import Rehearsed, rehearsed
from weighworthy_service.plans.words import amount, chance, plain
from weighworthy_service.profiles.chances import (
    BEYOND,
    Chances,
    false_rejection,
    half_of,
    passed,
)
from weighworthy_service.profiles.passing import Acceptance

_ZERO_CHANGE: Final = "zero-change"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What an option must have: least ratio, largest chance of false rejection (a share).

    `off_by`: the error of the balance, in %, of which the chance to pass is told; None: 1.5
    tolerances. How the run is done: basis of the loss, and whether it is hot (None: not stated).
    """

    ratio: Decimal
    false_rejection: Fraction
    off_by: Decimal | None
    basis: Basis = "wet"
    heating: bool | None = None


@dataclass(frozen=True)
class Option:
    """A combination on a balance, with what its check would be."""

    combination: Combination
    of: Rehearsed
    interval: Interval
    wanted: Wanted

    @cached_property
    def ratio(self) -> Fraction:
        """Tolerance to uncertainty; with one limit, its distance from zero to uncertainty."""
        return half_of(self.interval) / Fraction(self.of.expanded)

    @cached_property
    def zero_change(self) -> float | None:
        """The smallest change of zero that shows, in g; None: none has a size."""
        lines = self.of.results["reveals"]
        smallest: float | None = next(
            line["smallest"] for line in lines if line["fault"] == _ZERO_CHANGE
        )
        return smallest

    @cached_property
    def rejection(self) -> Chances:
        """Chance that a balance without error is not let into use."""
        return false_rejection(self._acceptance)

    @cached_property
    def off_by(self) -> Fraction:
        """The error of which the chance to pass is told."""
        asked = self.wanted.off_by
        return BEYOND * half_of(self.interval) if asked is None else Fraction(asked)

    @cached_property
    def acceptance_at_limit(self) -> Chances:
        """Chance that a balance just at a limit is let into use; the likelier side."""
        return self._passed([side for side in self._sides if side is not None])

    @cached_property
    def acceptance_off(self) -> Chances:
        """The same of one that is off by the stated amount to a side that has a limit."""
        lower, upper = self._sides
        signs = [sign for sign, side in ((-1, lower), (1, upper)) if side is not None]
        return self._passed([sign * self.off_by for sign in signs])

    @property
    def short_of(self) -> list[str]:
        """What of the wanted it has not."""
        found = list(self.of.void_by)
        if self.ratio < Fraction(self.wanted.ratio):
            found.append(
                f"the tolerance is {plain(self.ratio, 3)} times the uncertainty, less than "
                f"{plain(self.wanted.ratio)}"
            )
        if not self.of.void_by and self.rejection.all_sets > self.wanted.false_rejection:
            found.append(
                f"a balance without error is rejected with a chance of "
                f"{chance(self.rejection.all_sets)}, more than "
                f"{amount(self.wanted.false_rejection * 100, '%')}"
            )
        return found

    def no_better_than(self, other: "Option", *, any_loss: bool) -> bool:
        """Whether the other has at least as near a loss (or, where any loss will do, the same) and
        ratio, shows as small a change of zero, and takes no more weights."""
        mine, its = self.combination, other.combination
        loss = mine.loss == its.loss if any_loss else mine.distance >= its.distance
        return (
            loss
            and len(mine.initial) >= len(its.initial)
            and self.ratio <= other.ratio
            and _size(self.zero_change) >= _size(other.zero_change)
        )

    @cached_property
    def _acceptance(self) -> Acceptance:
        return self.of.acceptance(self.interval)

    @property
    def _sides(self) -> tuple[Fraction | None, Fraction | None]:
        return self.interval.lower, self.interval.upper

    def _passed(self, errors: Sequence[Fraction]) -> Chances:
        each = [passed(self._acceptance, float(error)) for error in errors]
        return Chances(max(c.one_set for c in each), max(c.all_sets for c in each))


def _size(smallest: float | None) -> float:
    return float("inf") if smallest is None else smallest


def option(
    combination: Combination, circumstances: Circumstances, terms: Terms, wanted: Wanted
) -> Option | str:
    """The option of a combination; otherwise why there is no such check, or no limit for it."""
    start, end = combination.initial, combination.staying
    loads = loss_loads(start, end, wanted.basis, heating=wanted.heating)
    try:
        of = next(iter(rehearsed(LOSS, circumstances, loads, terms)))
    except SenseError as error:
        return error.flaws[0].detail
    if of.criterion.verdict is None or of.interval is None:
        return next(iter(of.void_by), "there is no limit for it")
    return Option(combination, of, of.interval, wanted)
