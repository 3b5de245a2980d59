"""Whether readings are as usual: nothing of what is said of them depends on their very values.

Told quickly and on the safe side, for the rows of an archive. What is not told to be usual may
still be; `LossRemarks` then looks at it closely, and is the rule.
"""

from decimal import Decimal
from fractions import Fraction
from math import inf
from typing import Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.simulated_loss.budget import display_reach
from weighworthy_service.checks.simulated_loss.loss import Outcome
from weighworthy_service.checks.simulated_loss.remarks import FAR
from weighworthy_service.checks.terms import StartWindow
from weighworthy_service.metrology.quantity import QUANTA, in_quanta

# Far more than floats are off by, as a share.
_SLACK: Final = 1e-12


class Usual:
    """What is usual on one balance. Readings in g and in %, over `QUANTA`.

    `loads`: nominal, of the initial and the final indication; `least_final`: what the latter must
    be above, in g; None: nothing.
    """

    def __init__(
        self,
        here: Circumstances,
        loads: tuple[Decimal, Decimal],
        window: StartWindow | None,
        least_final: Decimal | None,
    ) -> None:
        near_initial, near_final = (_near(load) for load in loads)
        instrument = here.instrument
        self._step = in_quanta(instrument.scale_interval)
        capacity = instrument.capacity
        most = inf if capacity is None else in_quanta(capacity)
        self._above = -inf if least_final is None else in_quanta(least_final)
        self._start = (max(1, near_initial[0]), min(most, near_initial[1]))
        self._end = (near_final[0], min(most, near_final[1]))
        if window is not None:
            target, allowance = in_quanta(window.target), in_quanta(window.allowance)
            least, largest = self._start
            self._start = (max(least, target - allowance), min(largest, target + allowance))
        interval = instrument.loss_interval
        self._loss_step = None if interval is None else in_quanta(interval)
        self._reach = float(display_reach(here))
        self._half = float(Fraction(instrument.scale_interval) / 2)

    def are(self, initial: int, final: int) -> bool:
        """Whether indications make a check, are in place, and are such as the balance shows."""
        least, most = self._start
        least_final, most_final = self._end
        return (
            least <= initial <= most
            and least_final <= final <= most_final
            and final > self._above
            and not initial % self._step
            and not final % self._step
        )

    def agrees(
        self, displayed: int | None, found: Outcome, slopes: tuple[float, float, float]
    ) -> bool:
        """Whether the loss is not negative, and the displayed one explained by it."""
        computed = found.from_masses
        if computed is None or computed[0] < 0:
            return False
        if displayed is None or self._loss_step is None:
            return True
        if displayed % self._loss_step:
            return False
        shown, value = displayed / QUANTA, computed[0] / computed[1]
        initial, final, common = slopes
        hidden = self._reach + self._half * (abs(initial) + abs(final) + abs(common))
        slack = _SLACK * (abs(shown) + value + hidden)
        return abs(shown - value) + slack < hidden


def _near(load: Decimal) -> tuple[int, int]:
    """The whole quanta that are not far from a load, ends included."""
    whole = in_quanta(load)
    away = int(FAR * whole)
    return whole - away, whole + away
