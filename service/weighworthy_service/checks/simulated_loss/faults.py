"""What a failed simulated loss means for a loss.

The check reported the loss K of a mass M where R was right: e = K - R, in % points. One number
cannot tell its cause. Each cause that could have made it, solved for its size in the check and put
into the result (reported loss L, initial mass I0), gives a shift, without approximation:

- the zero changed by δ between the readings: e = -100 δ/M, shift -100 δ/I0 = e·M/I0;
- the gain changed by γ between them: K = 100 - 100(1 + γ)m1/M = 100 - (1 + γ)(100 - R), and
  L_true = 100 - (100 - L)/(1 + γ): shift e(100 - L)/(100 - K);
- an error in proportion to the loss, K = (1 + r)R, L = (1 + r)L_true: shift e·L/K;
- a zero that was off by c in both readings: K = 100(M - m1)/(M + c) = R·M/(M + c), so c = -M·e/K,
  and L_true = L·I0/(I0 - c): shift e·M·L/(K·I0 + M·e).

A loss on dry basis, D = 100(I0 - I1)/I1, is brought to wet basis first: D/(1 + D/100), which is
100(I0 - I1)/I0; its derivative is 1/(1 + D/100)².
"""

from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.faults import (
    NO_LOSS,
    NO_MASS,
    NO_SENSE,
    NO_VALUE,
    Effect,
    Fault,
    Said,
    key_of,
)
from weighworthy_service.checks.figures import figure


class Seen(NamedTuple):
    """What a simulated loss saw, on wet basis.

    Error, its U, and the loss it reported in % (points); M in g. None: the answer does not tell.
    """

    error: Fraction | None
    expanded: Fraction | None
    reported: Fraction | None
    mass: Fraction | None


# What an error of one % point shifts, from error, K and M of the check, and L and I0 of the result.
_Factor = Callable[[Fraction, Fraction, Fraction, Fraction, Fraction], Fraction]
_BY_LOSS: Final[dict[str, tuple[str, _Factor]]] = {
    "gain-change": (
        "Read as a change of gain between the readings, the error goes with what is left.",
        lambda _e, k, _m, loss, _mass: (100 - loss) / (100 - k),
    ),
    "proportional": (
        "Read as in proportion to the loss, the error goes with the loss.",
        lambda _e, k, _m, loss, _mass: loss / k,
    ),
    "common-zero": (
        "Read as a zero that was off alike in both readings, it goes with loss and mass.",
        lambda e, k, m, loss, mass: m * loss / (k * mass + m * e),
    ),
}
_ZERO: Final = "Read as a change of zero between the readings, the error goes inversely with mass."


def seen(results: Mapping[str, Any], criterion: Mapping[str, Any]) -> Seen:
    """From the results of an answer, and where it has none from its one criterion."""
    reported, expected = figure(results, "loss"), figure(results, "expected_loss")
    expanded = figure(criterion, "expanded_uncertainty")
    mass = figure(results, "initial_mass") or figure(criterion, "load")
    if results.get("basis") != "dry":
        error = figure(criterion, "value")
        if error is None and reported is not None and expected is not None:
            error = reported - expected
        return Seen(error, expanded, reported, mass)
    if reported is None or expected is None or min(reported, expected) <= -100:
        return Seen(None, None, None, mass)
    if expanded is not None:
        expanded /= (1 + expected / 100) ** 2
    return Seen(on_wet(reported) - on_wet(expected), expanded, on_wet(reported), mass)


def on_wet(dry: Fraction) -> Fraction:
    """A loss in % of what is left, in % of what was there."""
    return dry / (1 + dry / 100)


def faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]:
    """Four faults that each could have made the error; fewer where the answer is short."""
    criterion = next(iter(failed))
    saw, key = seen(results, criterion), key_of(criterion)
    found = [Fault("zero-change", key, _ZERO, _of_zero(saw), saw.mass)]
    if saw.error is not None and saw.reported is not None and 0 < saw.reported < 100:
        found += [
            Fault(name, key, sentence, _of_loss(saw, factor), saw.mass, name == "common-zero")
            for name, (sentence, factor) in _BY_LOSS.items()
        ]
    return tuple(found)


def _of_zero(saw: Seen) -> Callable[[Fraction | None, Fraction | None], Effect]:
    def effect(_: Fraction | None, mass: Fraction | None) -> Effect:
        if saw.error is None:
            return NO_VALUE
        if not mass or mass < 0 or not saw.mass:
            return NO_MASS
        return _scaled(saw, saw.mass / mass)

    return effect


def _of_loss(saw: Seen, factor: _Factor) -> Callable[[Fraction | None, Fraction | None], Effect]:
    def effect(loss: Fraction | None, mass: Fraction | None) -> Effect:
        assert saw.error is not None and saw.reported is not None  # noqa: S101, PT018  as made
        if loss is None:
            return NO_LOSS
        if not mass or mass < 0 or not saw.mass:
            return NO_MASS
        if saw.reported * mass + saw.mass * saw.error <= 0:
            return NO_SENSE
        return _scaled(saw, factor(saw.error, saw.reported, saw.mass, loss, mass))

    return effect


def _scaled(saw: Seen, factor: Fraction) -> Effect:
    """The error and its U so many times: the U to first order."""
    assert saw.error is not None  # noqa: S101  as its callers know
    u = None if saw.expanded is None else abs(float(saw.expanded * factor))
    return Effect(saw.error * factor, u)
