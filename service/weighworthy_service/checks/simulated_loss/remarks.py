"""What a reader must know of a simulated loss besides its verdict."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.outcome import Finding
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.simulated_loss.budget import display_reach
from weighworthy_service.checks.simulated_loss.check import Loading, SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Outcome, Ratio
from weighworthy_service.checks.terms import StartWindow, Terms
from weighworthy_service.checks.validity import (
    indication_findings,
    scatter_findings,
    settled,
    sitting_findings,
)
from weighworthy_service.json_document import pointer
from weighworthy_service.metrology.conformity import Tolerance
from weighworthy_service.metrology.loss import slope_ratios
from weighworthy_service.metrology.quantity import EXACT, QUANTA

# Farther from the load, as its share, than any balance in use can be: another unit, say.
FAR: Final = Fraction(1, 10)


class LossRemarks:
    """Findings on one check: those of any readings are settled, others rest on the readings.

    `expected`: the expected loss in %; `tolerance`: what its error is held against, if anything.
    """

    def __init__(
        self,
        check: SimulatedLossCheck,
        terms: Terms,
        expected: Fraction,
        tolerance: Tolerance | None,
    ) -> None:
        here = check.circumstances
        nominal = here.nominal(check.initial.load)
        required = terms.validity.scatter_at_most
        self._parts = [
            _Part("initial", check.initial, here, terms),
            _Part("final", check.final, here, terms),
        ]
        self._loss_interval = here.instrument.loss_interval
        self._nominal, self._window = nominal, terms.start_window
        # Half a step of the display, or a whole one, and half a step of the balance, in % and g,
        # over one denominator.
        reach, half = display_reach(here), Fraction(here.instrument.scale_interval) / 2
        self._hidden_per = reach.denominator * half.denominator
        self._hidden_loss = reach.numerator * half.denominator
        self._hidden_mass = half.numerator * reach.denominator
        self.settled = (
            *_of_the_sitting(check, terms),
            *scatter_findings(here, nominal, required, "/initial/load"),
            *_of_heat(check),
            *_too_small(expected, tolerance),
        )

    def on(
        self,
        initial: Decimal | None,
        final: Decimal | None,
        displayed: Decimal | None,
        found: Outcome,
    ) -> list[Finding]:
        """Findings that rest on the readings."""
        start, end = self._parts
        said = [*start.findings(initial), *end.findings(final)]
        if self._window is not None:
            said += self._of_the_window(self._window, initial)
        if found.from_masses is None:
            if initial is not None or final is not None:
                said.append(_not_used("initial" if final is None else "final"))
            if displayed is not None and displayed < 0:
                said.append(_negative("/displayed_loss"))
        elif found.from_masses[0] < 0:
            said.append(_negative("/final/indication"))
        if displayed is not None:
            said += self._of_the_display(displayed, found)
        return said

    def _of_the_window(self, window: StartWindow, initial: Decimal | None) -> Iterator[Finding]:
        field = "/initial/indication"
        if initial is None:
            message = (
                "without an initial indication the start window is held against the nominal load"
            )
            yield Finding("window-from-nominal", "note", message, field)
        start = self._nominal if initial is None else initial
        if EXACT.subtract(start, window.target).copy_abs() > window.allowance:
            message = f"the start load lies outside {window.target} g ± {window.allowance} g"
            yield Finding("start-load-off-window", window.otherwise, message, field)

    def _of_the_display(self, shown: Decimal, found: Outcome) -> list[Finding]:
        said = []
        step, computed = self._loss_interval, found.from_masses
        if step is not None and EXACT.remainder(shown, step):
            message = "the displayed loss is no multiple of the step in which it is displayed"
            code = "displayed-off-loss-interval"
            said.append(Finding(code, "warning", message, "/displayed_loss"))
        if computed is None:
            return said
        if step is None:
            message = "without loss_interval the displayed loss is not held against the masses"
            place = "/instrument/loss_interval"
            said.append(Finding("displayed-not-compared", "note", message, place))
        elif not self._explained(shown, computed, found):
            message = "the displayed loss and the masses differ by more than rounding can explain"
            said.append(Finding("displayed-disagrees", "warning", message, "/displayed_loss"))
        return said

    def _explained(self, shown: Decimal, computed: Ratio, found: Outcome) -> bool:
        """The balance computes from unrounded masses; each reading and the zero hide up to d/2."""
        to_initial, to_final, per = slope_ratios(found.initial, found.final, found.basis)
        slopes = abs(to_initial) + abs(to_final) + abs(to_initial + to_final)
        numerator, denominator = shown.as_integer_ratio()
        apart = abs(numerator * computed[1] - computed[0] * denominator)
        hidden = self._hidden_loss * per + self._hidden_mass * slopes * QUANTA
        return apart * self._hidden_per * per <= hidden * denominator * computed[1]


class _Part:
    """One of the two loads with what may have to be said of its reading."""

    def __init__(self, name: str, part: Loading, here: Circumstances, terms: Terms) -> None:
        self._instrument, self._place = here.instrument, (name, "indication")
        nominal = here.nominal(part.load)
        part_of = EXACT.multiply(nominal, Decimal(FAR.numerator))
        reach = EXACT.divide(part_of, Decimal(FAR.denominator))
        self._least, self._most = EXACT.subtract(nominal, reach), EXACT.add(nominal, reach)
        self._settled = tuple(settled((name,), part.stable, terms.validity.stable))
        # Said of a reading that only the displayed loss stands for: it counts all the same.
        self._unread = self._settled if part.stable is False else ()
        capacity = here.instrument.capacity
        # Where only the display was noted, the weights tell what lay on the pan.
        if capacity is not None and nominal > capacity:
            message = "the nominal load is above the capacity"
            self._unread += (Finding("overload", "void", message, f"/{name}/load"),)

    def findings(self, indication: Decimal | None) -> Sequence[Finding]:
        """Of its reading, or of none."""
        if indication is None:
            return self._unread
        found = indication_findings(indication, self._instrument, self._place)
        if not self._least <= indication <= self._most:
            found = [*found, _far(self._place)]
        return [*found, *self._settled] if self._settled else found


def _of_the_sitting(check: SimulatedLossCheck, terms: Terms) -> Iterator[Finding]:
    parts = (check.initial, check.final)
    used = list(dict.fromkeys(name for part in parts for name in part.load))
    yield from sitting_findings(check.circumstances, used, terms)
    built_up = any(len(part.load) > 1 for part in parts)
    yield from input_remarks(check.circumstances, used, built_up=built_up, buoyancy=False)


def _too_small(expected: Fraction, tolerance: Tolerance | None) -> Iterator[Finding]:
    """A loss that its limits would swallow does not tell a balance from a display that is stuck."""
    if tolerance is None:
        return
    interval = tolerance.interval
    sides = [abs(side) for side in (interval.lower, interval.upper) if side is not None]
    if abs(expected) <= max(sides):
        message = "the expected loss is no larger than its limit: showing no loss at all would pass"
        yield Finding("loss-within-tolerance", "no-pass", message, "/final/load")


def _far(place: tuple[str, ...]) -> Finding:
    message = (
        "more than 10 % from the nominal load: another unit, other weights, or a pan not tared; a "
        "ratio of such readings proves nothing"
    )
    return Finding("indication-far-from-load", "no-pass", message, pointer(*place))


def _not_used(part: str) -> Finding:
    message = "one indication alone gives no loss: the displayed loss is judged without it"
    return Finding("indication-not-used", "note", message, f"/{part}/indication")


def _negative(field: str) -> Finding:
    message = "more at the end than at the start: the loss is negative"
    return Finding("loss-negative", "warning", message, field)


def _of_heat(check: SimulatedLossCheck) -> Iterator[Finding]:
    if check.heating is False and check.chamber_rose:
        message = "heating is stated as false, and the chamber grew warmer: taken as heated"
        yield Finding("heating-contradicted", "warning", message, "/heating")
    instrument = check.circumstances.instrument
    declared = instrument.hot_zero_drift is not None or instrument.hot_zero_correction is not None
    if check.took_heat and not declared:
        message = "the chamber was heated, and nothing is stated of what that does to the zero"
        yield Finding("heat-not-in-uncertainty", "warning", message, "/instrument/hot_zero_drift")
