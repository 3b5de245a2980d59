"""What a failed span check means for a loss.

**Gain.** A span error alone is read as a constant gain g: I = (1 + g)m in both readings, and
L = 100(I0 - I1)/I0 has (1 + g) above and below the line: the shift is 0, exactly.
**Zero return** δ: the zero moved by δ while a load lay on the pan, as it may between the readings
of a run: -100 δ/I0.
**Agreement** S, largest minus smallest error of one load: two weighings differ by up to S in their
errors, in either direction, so the shift lies within ±100(S + U)/I0 (our own reading of it).
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.faults import (
    NO_MASS,
    NO_VALUE,
    Effect,
    Fault,
    Said,
    key_of,
    of_zero,
)
from weighworthy_service.checks.figures import figure, rows

_GAIN: Final = (
    "A span error, read as a constant gain, cancels in the loss: the shift is 0, exactly. "
    "That the gain is constant only a linearity check shows."
)
_ZERO: Final = "A zero that moves like this between the readings of a run shifts the loss."
_SPREAD: Final = "Readings that differ like this may shift the loss in either direction."


def faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]:
    """One fault a criterion that failed; of span errors one, for all come to the same."""
    loads = {figure(row, "index"): figure(row, "load") for row in rows(results, "rounds")}
    found: dict[str, Fault] = {}
    for criterion in failed:
        name, key = criterion.get("name"), key_of(criterion)
        load = figure(criterion, "load") or loads.get(figure(criterion, "index"))
        if name == "span_error":
            found.setdefault(
                "span_error", Fault("constant-gain", key, _GAIN, _no_effect, load, False)
            )
        elif name == "zero_return":
            found[key] = of_zero("zero-change", criterion, _ZERO, load)
        elif name == "span_agreement":
            found[key] = _spread(criterion, load)
    return tuple(found.values())


def _no_effect(_: Fraction | None, __: Fraction | None) -> Effect:
    return Effect(Fraction(0), 0.0)


def _spread(criterion: Mapping[str, Any], load: Fraction | None) -> Fault:
    size, u = figure(criterion, "value"), figure(criterion, "expanded_uncertainty")

    def effect(_: Fraction | None, mass: Fraction | None) -> Effect:
        if size is None:
            return NO_VALUE
        if not mass or mass < 0:
            return NO_MASS
        return Effect(Fraction(0), float(100 * (abs(size) + (u or 0)) / mass))

    return Fault("spread", key_of(criterion), _SPREAD, effect, load)
