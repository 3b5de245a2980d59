"""The loss of a mass that is weighed before and after, with its sensitivities. g and %.

Wet basis: L = 100(I0 - I1)/I0; dry basis: L = 100(I0 - I1)/I1.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeVar

Basis = Literal["wet", "dry"]
Mass = TypeVar("Mass", int, Fraction, float)


def loss_ratio(initial: Mass, final: Mass, basis: Basis) -> tuple[Mass, Mass]:
    """Loss in % from the masses before and after, as numerator and denominator."""
    return 100 * (initial - final), (initial if basis == "wet" else final)


def slope_ratios(initial: Mass, final: Mass, basis: Basis) -> tuple[Mass, Mass, Mass]:
    """Derivatives of the loss to initial and to final mass, as two numerators over a third."""
    base = initial if basis == "wet" else final
    return 100 * final, -100 * initial, base * base


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
    numerator, denominator = loss_ratio(initial, final, basis)
    return numerator / denominator


def slopes(initial: Fraction, final: Fraction, basis: Basis) -> Slopes:
    """Derivatives of `loss` there."""
    to_initial, to_final, per = slope_ratios(initial, final, basis)
    return Slopes(to_initial / per, to_final / per)
