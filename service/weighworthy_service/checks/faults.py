"""What a failed check means for a reported loss: the part `faults` of a kind of check.

A kind that knows has a module `faults.py` in its folder with

    faults(failed: Iterable[Said], results: Said) -> tuple[Fault, ...]

which gets the criteria of an answer that failed (at least one, in its JSON form: masses in g,
losses in %, differences of temperature in K, times in s) and the answer's `results`, and gives one
fault for each cause that could have made such an error. An earlier answer may lack any figure or
hold something else there, so take them by `figure` and `rows`. What a fault does to a loss on wet
basis, L = 100(I0 - I1)/I0, is its shift: reported minus true, in % points, exact, with an
uncertainty of first order. `of_zero` and `of_bias` are two that come often. A fault that does
nothing says 0; one of which nobody can tell how much says `Effect(None, remark=why)`.

Without the module, whoever reads a logbook is told that this kind does not say what its errors do,
and a person has to decide.
"""

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple

from weighworthy_service.checks.figures import figure

# An object of an answer in its JSON form.
Said = Mapping[str, Any]


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


def of_zero(name: str, criterion: Said, sentence: str, own_mass: Fraction | None) -> Fault:
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


def of_bias(name: str, criterion: Said, sentence: str) -> Fault:
    """An error of the loss itself, in % points, that is the same in every loss: the shift is it."""
    bias, u = figure(criterion, "value"), figure(criterion, "expanded_uncertainty")

    def effect(_: Fraction | None, __: Fraction | None) -> Effect:
        return NO_VALUE if bias is None else Effect(bias, None if u is None else float(u))

    return Fault(name, key_of(criterion), sentence, effect, needs_mass=False)


def key_of(criterion: Said) -> str:
    """The key of a criterion: `zero_return[1]`."""
    return str(criterion.get("key") or criterion.get("name") or "")
