"""Limits of checks that keep the balance's part of a moisture result within what it may take.

Every cold limit is the same multiple of the tightest honest one, as large as the part allows, so
that none of the checks rejects good balances for the sake of another.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from typing import Final

from weighworthy_service.metrology.rounding import rounding_context
from weighworthy_service.plans.rehearsed import Rehearsed
from weighworthy_service.plans.tightest import Tightest, within
from weighworthy_service.plans.worst_case import LeftOpen, Sample, worst_error
from weighworthy_service.profiles.passing import accepted_values

_DOWN: Final = rounding_context(2, ROUND_DOWN)
# Multiples are looked for in steps of this.
_STEP: Final = Fraction(1, 1000)
_MOST: Final = 10**6


@dataclass(frozen=True, slots=True)
class Part:
    """A check with its tightest honest limit; of several loads, at the one that asks for most.

    `slip`: see `slip_of`; the largest of all loads.
    """

    of: Rehearsed
    tightest: Tightest
    slip: Fraction


def slip_of(of: Rehearsed) -> Fraction:
    """What a balance may be off beyond a limit and still be used, in g or %.

    U less the distance from the last value that lets it be used to the limit, never below zero.
    """
    far = 10 * Fraction(of.expanded) + 10 * of.guard
    accepted = accepted_values(of.name, within(far), of.terms, of.expanded)
    assert accepted.upper is not None  # noqa: S101  of two sides
    return max(Fraction(0), Fraction(of.expanded) - (far - accepted.upper))


@dataclass(frozen=True, slots=True)
class Limits:
    """`multiple` of the tightest limits, the limits in g, what they leave open, and the largest
    error of a result in %."""

    multiple: Fraction
    span: Decimal
    zero: Decimal
    points: Decimal
    left_open: LeftOpen
    worst: Fraction


@dataclass(frozen=True, slots=True)
class Cold:
    """The cold checks: span at a load in g, zero return, and the worst of the linearity points."""

    span: Part
    zero: Part
    points: Part
    span_load: Fraction

    def left_open(self, limits: Mapping[str, Fraction]) -> LeftOpen:
        """What balances that just pass may be off by, with these limits in g."""
        return LeftOpen(
            limits["points"] + self.points.slip,
            limits["zero"] + self.zero.slip,
            (limits["span"] + self.span.slip) / self.span_load,
        )

    def at(self, multiple: Fraction) -> Mapping[str, Fraction]:
        """The limits at a multiple of the tightest ones, in g, not rounded."""
        parts = {"span": self.span, "zero": self.zero, "points": self.points}
        return {name: multiple * Fraction(part.tightest.within) for name, part in parts.items()}

    def limits(self, multiple: Fraction, sample: Sample) -> Limits:
        """The limits rounded down to two digits, with what follows from them."""
        rounded = {name: _down(value) for name, value in self.at(multiple).items()}
        open_ = self.left_open({name: Fraction(value) for name, value in rounded.items()})
        return Limits(
            multiple,
            rounded["span"],
            rounded["zero"],
            rounded["points"],
            open_,
            worst_error(sample, open_),
        )

    def smallest(self, sample: Sample) -> Fraction | None:
        """The largest error of a result with the tightest limits, in %; None: there is no end."""
        try:
            return worst_error(sample, self.left_open(self.at(Fraction(1))))
        except ValueError:
            return None

    def largest_multiple(self, sample: Sample, allowed: Fraction) -> Fraction | None:
        """The largest multiple whose error is allowed; None: not even the tightest limits do.

        The error grows with the multiple, so halving finds it.
        """

        def fits(steps: int) -> bool:
            try:
                return worst_error(sample, self.left_open(self.at(steps * _STEP))) <= allowed
            except ValueError:
                return False

        low = int(1 / _STEP)
        if not fits(low):
            return None
        high = low
        while fits(high) and high < _MOST:
            low, high = high, high * 2
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if fits(middle) else (low, middle)
        return low * _STEP


def _down(value: Fraction) -> Decimal:
    return _DOWN.divide(Decimal(value.numerator), Decimal(value.denominator))


def loss_limit(
    part: Part, like: tuple[Fraction, Fraction], allowed: Fraction
) -> tuple[Decimal | None, Fraction]:
    """The limit of a simulated loss in %, rounded down, and the share of `allowed` it stands for.

    A change of zero or of gain shows in it `like` times as large as in the result of the sample;
    where it shows less, the limit must be that much smaller. None: nothing is left for a limit.
    """
    share = min(Fraction(1), *like)
    limit = allowed * share - part.slip
    return (_down(limit) if limit > 0 else None), share
