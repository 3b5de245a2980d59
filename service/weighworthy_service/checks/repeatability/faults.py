"""What a failed repeatability check means for a loss.

It shows no error of one direction: each of the two readings of a run scatters by s, so that the
loss L = 100(I0 - I1)/I0 scatters by s·√((∂L/∂I0)² + (∂L/∂I1)²) = 100 s·√((1 - L)² + 1)/I0, with L
as a share. The shift is 0 and its uncertainty twice that.
"""

from collections.abc import Iterable
from fractions import Fraction
from math import sqrt

from weighworthy_service.checks.faults import (
    NO_LOSS,
    NO_MASS,
    NO_VALUE,
    Effect,
    Fault,
    Said,
    key_of,
)
from weighworthy_service.checks.figures import figure

_SENTENCE = "Both readings of the result scatter by the standard deviation found, either way."


def faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]:
    """The scatter, whichever criterion failed."""
    scatter = results.get("standard_deviation")
    s = figure(scatter, "value") if isinstance(scatter, dict) else None
    key = key_of(next(iter(failed)))

    def effect(loss: Fraction | None, mass: Fraction | None) -> Effect:
        if s is None:
            return NO_VALUE
        if loss is None:
            return NO_LOSS
        if not mass or mass < 0:
            return NO_MASS
        left = 1 - float(loss) / 100
        return Effect(Fraction(0), 200 * float(s / mass) * sqrt(left**2 + 1))

    return (Fault("scatter", key, _SENTENCE, effect, figure(results, "load")),)
