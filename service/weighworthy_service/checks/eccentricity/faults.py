"""What a failed eccentricity check means for a loss.

A sample that lies off the centre reads D/L_e of its mass too much or too little, with D the largest
difference found at the load L_e. Where it stays there this is a gain, which cancels in the loss.
Where what is left of it has moved, at most from the centre to the worst place, the final reading
I1 = (1 - L)I0 alone is off: the loss L = 100(I0 - I1)/I0 by up to 100·|D|/L_e·(1 - L), either way.
"""

from collections.abc import Iterable
from fractions import Fraction

from weighworthy_service.checks.faults import NO_LOSS, NO_VALUE, Effect, Fault, Said, key_of
from weighworthy_service.checks.figures import figure

_SENTENCE = (
    "A sample that stays where it lies does not show it; one that moves as it dries, up to this."
)


def faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]:
    """The same whichever criterion failed."""
    largest, load = results.get("largest_difference"), figure(results, "load")
    difference = figure(largest, "value") if isinstance(largest, dict) else None

    def effect(loss: Fraction | None, _: Fraction | None) -> Effect:
        if difference is None or not load:
            return NO_VALUE
        if loss is None:
            return NO_LOSS
        bound = 100 * abs(difference) / load * abs(1 - loss / 100)
        return Effect(Fraction(0), float(bound))

    key = key_of(next(iter(failed)))
    return (Fault("off-centre", key, _SENTENCE, effect, load, needs_mass=False),)
