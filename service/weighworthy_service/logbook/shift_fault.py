"""A fault of the balance as a check shows it, and what it does to a loss of any size and mass."""

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple

from weighworthy_service.logbook.figures import figure


class Effect(NamedTuple):
    """A shift in % points and its expanded uncertainty; None: not known, `remark` says why.

    `mass` in g: the initial mass it is for, where the fault chose it.
    """

    value: Fraction | None
    uncertainty: float | None = None
    remark: str = ""
    mass: Fraction | None = None


class Fault(NamedTuple):
    """What may be wrong. `effect` takes a reported loss in % and an initial mass in g, or None.

    `own_mass` is what the check weighed, in g. `needs_mass`: the effect depends on the mass.
    """

    name: str
    criterion: str
    sentence: str
    effect: Callable[[Fraction | None, Fraction | None], Effect]
    own_mass: Fraction | None = None
    needs_mass: bool = True


NO_MASS = Effect(None, remark="Neither the result nor the check tells an initial mass.")
NO_LOSS = Effect(None, remark="The result states no loss.")
NO_VALUE = Effect(None, remark="The answer of the check does not tell the error.")
NO_SENSE = Effect(None, remark="With this loss and this mass there is no such fault.")


def of_zero(
    name: str, criterion: Mapping[str, Any], sentence: str, own_mass: Fraction | None
) -> Fault:
    """A change δ of what the balance shows, in g, between the two readings of a run.

    I1 = m1 + δ and I0 = m0, so L = 100(m0 - m1 - δ)/m0 = L_true - 100 δ/I0.
    """
    change, u = figure(criterion, "value"), figure(criterion, "expanded_uncertainty")

    def effect(_: Fraction | None, mass: Fraction | None) -> Effect:
        if change is None:
            return NO_VALUE
        if not mass or mass < 0:
            return NO_MASS
        return Effect(-100 * change / mass, None if u is None else float(100 * u / mass))

    return Fault(name, key_of(criterion), sentence, effect, own_mass)


def key_of(criterion: Mapping[str, Any]) -> str:
    """The key of a criterion: `zero_return[1]`."""
    return str(criterion.get("key") or criterion.get("name") or "")
