"""What an error that a check found does to a reported loss: its shift, in % points.

shift = reported - true, so true = reported - shift. Losses are on wet basis: L = 100(I0 - I1)/I0,
I1 = I0(1 - L/100). A check sees an error, not its cause; each fault that can cause it gives a shift
of its own, and the largest counts. Values are exact; uncertainties are first order, stated as all
uncertainties are, and so are the ends of the range.
"""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from typing import Final, NamedTuple

from weighworthy_service.checks.faults import Effect, Fault, Said, key_of
from weighworthy_service.checks.registry import BY_SLUG
from weighworthy_service.logbook.entries import CheckSaid, Result
from weighworthy_service.metrology.budget import stated

_NOT_SPEAKING: Final = (None, "pass", "void")
_BAD: Final = ("conditional-fail", "fail")
_NOT_TOLD: Final = Effect(
    None, remark="What it does to a result is for a person to decide, who knows the cause."
)


class Shift(NamedTuple):
    """What one fault would have done to a result, in % points; None: not known, `sentence` why.

    `lower` to `upper` is the value give or take its expanded uncertainty; None without one.
    `entry` is the id of the check that showed it. `initial_mass` in g is the one it was computed
    at, `of_result`: whether the result states it. `corrected`: the reported loss without the shift.
    """

    entry: str
    criterion: str
    fault: str
    value: Fraction | None
    expanded_uncertainty: Decimal | None
    lower: Fraction | None
    upper: Fraction | None
    initial_mass: Fraction | None
    of_result: bool
    sentence: str
    corrected: Fraction | None = None
    corrected_lower: Fraction | None = None
    corrected_upper: Fraction | None = None

    @property
    def size(self) -> Fraction:
        """The farthest from zero that it may be; 0 where it is not known."""
        if self.lower is not None and self.upper is not None:
            return max(self.upper, -self.lower)
        return abs(self.value or Fraction(0))


class Faults(NamedTuple):
    """What to read errors from: the check of this entry; `said` None: its errors do not hold here.

    `before`: of the time before it (as found), otherwise from it on (as left).
    """

    entry: str
    said: CheckSaid | None
    before: bool


def faults_of(said: CheckSaid, *, before: bool) -> tuple[Fault, ...]:
    """What a failed check shows to be wrong: `before` it (as found), or from it on (as left).

    Empty: it does not say by how much. Only criteria that failed count; where none did worse than
    a conditional pass, those. What their errors mean is said by the part `faults` of the kind; of a
    kind without one it is not known, and the fault says so.
    """
    stages = ("as-found", None) if before else ("as-left", None)
    speaking = [
        c
        for c in said.criteria
        if c.get("verdict") not in _NOT_SPEAKING and (not said.adjusted or c.get("stage") in stages)
    ]
    failed = [c for c in speaking if c.get("verdict") in _BAD] or speaking
    if not failed:
        return ()
    part = BY_SLUG[said.check].part("faults")
    if part is None:
        return tuple(_not_told(said.check, criterion) for criterion in failed)
    found: tuple[Fault, ...] = part.faults(failed, said.results)
    return found


def _not_told(check: str, criterion: Said) -> Fault:
    sentence = f"A {check} check does not tell what its error does to a loss."

    def effect(_: Fraction | None, __: Fraction | None) -> Effect:
        return _NOT_TOLD

    return Fault("not-told", key_of(criterion), sentence, effect, needs_mass=False)


def shifts(entry: str, faults: Iterable[Fault], result: Result) -> tuple[Shift, ...]:
    """What each fault would have done to a result, the largest first, those not known last."""
    loss = None if result.loss is None else Fraction(result.loss)
    mass = None if result.initial_mass is None else Fraction(result.initial_mass)
    found = [_shift(entry, fault, loss, mass) for fault in faults]
    return tuple(sorted(found, key=lambda s: (s.value is None, -s.size)))


def _shift(entry: str, fault: Fault, loss: Fraction | None, stated_mass: Fraction | None) -> Shift:
    mass = fault.own_mass if stated_mass is None else stated_mass
    effect = fault.effect(loss, mass)
    value, u = effect.value, effect.uncertainty
    expanded = None if value is None or u is None else stated(u)
    sentence = f"{fault.sentence} {effect.remark}" if effect.remark else fault.sentence
    if value is not None and stated_mass is None and mass is not None and fault.needs_mass:
        sentence += " The result states no initial mass: computed at that of the check."
    half = None if expanded is None else Fraction(expanded)
    lower = None if value is None or half is None else value - half
    upper = None if value is None or half is None else value + half
    return Shift(
        entry,
        fault.criterion,
        fault.name,
        value,
        expanded,
        lower,
        upper,
        effect.mass if effect.mass is not None else mass,
        stated_mass is not None,
        sentence,
        _less(loss, value),
        _less(loss, upper),
        _less(loss, lower),
    )


def _less(loss: Fraction | None, shift: Fraction | None) -> Fraction | None:
    return None if loss is None or shift is None else loss - shift
