"""The largest error of a moisture result of a balance that just passes its checks, exactly.

What the checks leave open of the balance, each to either side and all at once: the error of
indication at the sample before and after, ±points; the change of zero between, ±zero; and the gain,
which may lie anywhere within the span tolerance at each reading, so that it changes by up to twice
that between them. A gain that stays cancels in a loss. Masses in g, losses in %.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from weighworthy_service.metrology.loss import Basis, loss

_NONE: Final = Fraction(0)


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample before and after."""

    start: Fraction
    end: Fraction
    basis: Basis

    @property
    def loss(self) -> Fraction:
        """Its true loss in %."""
        return loss(self.start, self.end, self.basis)


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """Half-widths of what may be wrong: `points` and `zero` in g, `gain` as a share."""

    points: Fraction = _NONE
    zero: Fraction = _NONE
    gain: Fraction = _NONE

    def alone(self, name: str) -> "LeftOpen":
        """One of them without the others."""
        return replace(LeftOpen(), **{name: getattr(self, name)})


def worst_error(sample: Sample, open_: LeftOpen) -> Fraction:
    """Largest |L - L_true|: a loss rises with the first reading and falls with the second, so that
    the corners are its extremes.

    Raises:
        ValueError: the errors are as large as the sample.
    """
    add, take = open_.points, open_.points + open_.zero
    more, less = 1 + open_.gain, 1 - open_.gain
    if sample.start * less <= add or sample.end * less <= take:
        raise ValueError("errors as large as the sample")
    high = loss(sample.start * more + add, sample.end * less - take, sample.basis)
    low = loss(sample.start * less - add, sample.end * more + take, sample.basis)
    return max(high - sample.loss, sample.loss - low)
