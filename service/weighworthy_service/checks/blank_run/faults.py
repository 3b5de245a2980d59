"""What failed blank runs mean for a loss.

The indication changes by δ through a hot run, whatever lies on the pan: I1 = m1 + δ, so a loss is
off by -100 δ/I0. `moisture_effect` is the same of the usual mass m: F = -100 δ/m, so F·m/I0.
"""

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.faults import (
    NO_MASS,
    NO_VALUE,
    Effect,
    Fault,
    Said,
    key_of,
    of_zero,
)
from weighworthy_service.checks.figures import figure

_NAME: Final = "hot-zero-change"
_SENTENCE: Final = (
    "A zero that changes like this through a hot run shifts every loss, inversely with the mass."
)


def faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]:
    """One: both criteria are of one change; that in g is asked first."""
    by_name = {criterion.get("name"): criterion for criterion in failed}
    change, effect = by_name.get("zero_change"), by_name.get("moisture_effect")
    usual = None if effect is None else figure(effect, "load")
    if change is not None:
        return (of_zero(_NAME, change, _SENTENCE, usual),)
    return () if effect is None else (_of_effect(effect, usual),)


def _of_effect(criterion: Said, usual: Fraction | None) -> Fault:
    size, u = figure(criterion, "value"), figure(criterion, "expanded_uncertainty")

    def effect(_: Fraction | None, mass: Fraction | None) -> Effect:
        if size is None:
            return NO_VALUE
        if not mass or mass < 0 or not usual:
            return NO_MASS
        return Effect(size * usual / mass, None if u is None else float(u * usual / mass))

    return Fault(_NAME, key_of(criterion), _SENTENCE, effect, usual)
