"""The loss and its expected value, exactly, with their sensitivities. Masses in g, losses in %.

The formula is that of `metrology.loss`; expected is what it gives of the masses of the weights:
L_ref = 100(1 - Σm_final/Σm_initial), and on dry basis 100(Σm_initial/Σm_final - 1). Weights may be
lifted off or swapped.

Masses are whole numbers over `QUANTA`, ratios pairs of whole numbers: exact, and quicker than
fractions, which are reduced at every step.
"""

from decimal import Decimal
from fractions import Fraction
from typing import Final, NamedTuple

from weighworthy_service.checks.contributions import Effects
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.metrology.loss import Basis, Slopes, loss_ratio, slope_ratios
from weighworthy_service.metrology.quantity import QUANTA, from_quanta, in_quanta

Ratio = tuple[int, int]
_NONE: Final = Fraction(0)


class Outcome(NamedTuple):
    """Value and error of one simulated loss, and what both rest on.

    `initial` and `final` are the masses that sensitivities are taken at, in g over `QUANTA`: the
    indications, or, with the displayed loss alone, the reference masses. `value` includes the hot
    zero correction; `error` is the value minus the expected loss.
    """

    initial: int
    final: int
    basis: Basis
    from_masses: Ratio | None
    value: Ratio
    error: Ratio

    @property
    def at(self) -> Slopes:
        """The sensitivities exactly."""
        to_initial, to_final, per = slope_ratios(self.initial, self.final, self.basis)
        return Slopes(Fraction(to_initial * QUANTA, per), Fraction(to_final * QUANTA, per))

    def slopes(self) -> tuple[float, float, float]:
        """To initial and final mass and to what both share, in % per g."""
        to_initial, to_final, per = slope_ratios(self.initial, self.final, self.basis)
        to_initial, to_final = to_initial * QUANTA, to_final * QUANTA
        return to_initial / per, to_final / per, (to_initial + to_final) / per

    def near_slopes(self) -> tuple[float, float, float]:
        """The same but for the last digits of floats, for bounds."""
        start, end = self.initial / QUANTA, self.final / QUANTA
        to_initial, to_final, per = slope_ratios(start, end, self.basis)
        initial, final = to_initial / per, to_final / per
        return initial, final, initial + final


class Reference:
    """What the weights stand for, before anything is read: masses, expected loss, sensitivities.

    `weights`: how the error depends on each weight, which is how L_ref does, with changed sign.
    """

    def __init__(self, check: SimulatedLossCheck) -> None:
        here, self._basis = check.circumstances, check.basis
        start, end = (part.load for part in (check.initial, check.final))
        self.initial_mass, self.final_mass = here.mass(start), here.mass(end)
        self._masses = initial, final = in_quanta(self.initial_mass), in_quanta(self.final_mass)
        self.expected = Fraction(*loss_ratio(initial, final, self._basis))
        self._expected = self.expected.as_integer_ratio()
        to_initial, to_final, per = slope_ratios(initial, final, self._basis)
        weights: dict[str, int] = {}
        for load, slope in ((start, to_initial), (end, to_final)):
            for name in load:
                weights[name] = weights.get(name, 0) - slope * QUANTA
        self.weights = Effects(weights=weights, per=per)
        self._shift = in_quanta(check.hot_zero_shift)
        # What a shift of the zero does to a loss that only the display tells.
        self._correction = -Fraction(to_final * self._shift, per)

    def outcome(self, initial: int | None, final: int | None, displayed: int | None) -> Outcome:
        """From masses where there are both indications, otherwise from the displayed loss.

        Readings are in g and in %, over `QUANTA`; None: not stated.
        """
        from_masses: Ratio | None = None
        basis = self._basis
        if initial is not None and final is not None:
            start, end = initial, final
            value = from_masses = loss_ratio(start, end, basis)
            if self._shift:
                end -= self._shift
                value = loss_ratio(start, end, basis)
        else:
            assert displayed is not None  # noqa: S101  readings without either are no check
            start, end = self._masses
            value = (Fraction(displayed, QUANTA) + self._correction).as_integer_ratio()
        numerator, denominator = value
        expected, per = self._expected
        error = numerator * per - expected * denominator, denominator * per
        return Outcome(start, end, basis, from_masses, value, error)

    def correction(self, value: Fraction, from_masses: Fraction | None) -> Fraction:
        """What the known hot shift of the zero makes of the loss, in %."""
        if from_masses is None:
            return self._correction
        return _NONE if from_masses is value else value - from_masses


def outcome(check: SimulatedLossCheck) -> Outcome:
    """The outcome of a check with its own readings."""
    readings = (check.initial.indication, check.final.indication, check.displayed_loss)
    return Reference(check).outcome(*map(quanta, readings))


def quanta(reading: Decimal | None) -> int | None:
    """A reading in g or % over `QUANTA`."""
    return None if reading is None else in_quanta(reading)


def quantity(reading: int | None) -> Decimal | None:
    """The same back."""
    return None if reading is None else from_quanta(reading)
