"""What a failed check with a reference material means for a loss.

**Bias**: the whole process is off by as much, whatever its cause: every loss is.
**Scatter** s: of single losses 95 % lie within 2 s of their mean, if they are normal, and s may be
s + U (our own reading of it).
"""

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.faults import NO_VALUE, Effect, Fault, Said, key_of, of_bias
from weighworthy_service.checks.figures import figure

_BIAS: Final = (
    "An error of the whole drying, read as the same in every loss; in another product it may be "
    "another."
)
_SCATTER: Final = "Losses that scatter like this may be off in either direction."


def faults(failed: Iterable[Said], _results: Said) -> tuple[Fault, ...]:
    """One fault a criterion that failed."""
    found = []
    for criterion in failed:
        if criterion.get("name") == "bias":
            found.append(of_bias("process", criterion, _BIAS))
        elif criterion.get("name") == "scatter":
            found.append(_of_scatter(criterion))
    return tuple(found)


def _of_scatter(criterion: Said) -> Fault:
    s, u = figure(criterion, "value"), figure(criterion, "expanded_uncertainty")

    def effect(_: Fraction | None, __: Fraction | None) -> Effect:
        return NO_VALUE if s is None else Effect(Fraction(0), float(2 * (s + (u or 0))))

    return Fault("scatter", key_of(criterion), _SCATTER, effect, needs_mass=False)
