"""The loss and its expected value, exactly, with their sensitivities. Masses in g, losses in %.

Wet basis: L = 100(I0 - I1)/I0 and L_ref = 100(1 - Σm_final/Σm_initial); dry basis:
L = 100(I0 - I1)/I1 and L_ref = 100(Σm_initial/Σm_final - 1). Weights may be lifted off or swapped.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck

Basis = Literal["wet", "dry"]


@dataclass(frozen=True, slots=True)
class Slopes:
    """Derivatives of a loss with respect to initial and final mass, in % per g."""

    initial: Fraction
    final: Fraction

    @property
    def common(self) -> Fraction:
        """With respect to a shift that both share, as of a zero taken once."""
        return self.initial + self.final


def loss(initial: Fraction, final: Fraction, basis: Basis) -> Fraction:
    """Loss in % from the masses before and after."""
    return 100 * (initial - final) / (initial if basis == "wet" else final)


def slopes(initial: Fraction, final: Fraction, basis: Basis) -> Slopes:
    """Derivatives of `loss` there."""
    if basis == "wet":
        return Slopes(100 * final / initial**2, -100 / initial)
    return Slopes(100 / final, -100 * initial / final**2)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Value, reference and error of one simulated loss.

    `initial` and `final` are the masses that sensitivities are taken at: the indications, or, with
    the displayed loss alone, the reference masses. `value` includes the hot zero correction.
    """

    initial: Fraction
    final: Fraction
    from_masses: Fraction | None
    value: Fraction
    expected: Fraction
    correction: Fraction
    at: Slopes
    weights: dict[str, Fraction]

    @property
    def error(self) -> Fraction:
        """Loss minus expected loss, in percentage points."""
        return self.value - self.expected


def outcome(check: SimulatedLossCheck) -> Outcome:
    """Evaluate from masses where there are masses, otherwise from the displayed loss."""
    circumstances = check.circumstances
    reference = [Fraction(circumstances.mass(part.load)) for part in (check.initial, check.final)]
    expected = loss(reference[0], reference[1], check.basis)
    shift = Fraction(check.hot_zero_shift)
    indicated = (check.initial.indication, check.final.indication)
    if indicated[0] is not None and indicated[1] is not None:
        initial, seen = Fraction(indicated[0]), Fraction(indicated[1])
        from_masses = loss(initial, seen, check.basis)
        final = seen - shift
        value = loss(initial, final, check.basis)
        correction = value - from_masses
        at = slopes(initial, final, check.basis)
    else:
        assert check.displayed_loss is not None  # noqa: S101  the check refuses neither
        initial, final = reference
        from_masses = None
        at = slopes(initial, final, check.basis)
        correction = -at.final * shift
        value = Fraction(check.displayed_loss) + correction
    weights = _weight_slopes(check, circumstances, reference)
    return Outcome(initial, final, from_masses, value, expected, correction, at, weights)


def _weight_slopes(
    check: SimulatedLossCheck, circumstances: Circumstances, reference: Sequence[Fraction]
) -> dict[str, Fraction]:
    """Derivatives of the error with respect to each weight: those of L_ref with changed sign."""
    at = slopes(reference[0], reference[1], check.basis)
    found: dict[str, Fraction] = {}
    for part, slope in ((check.initial, at.initial), (check.final, at.final)):
        for weight in circumstances.on(part.load):
            found[weight.name] = found.get(weight.name, Fraction(0)) - slope
    return found
