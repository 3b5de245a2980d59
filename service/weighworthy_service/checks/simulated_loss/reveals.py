"""What a simulated loss would reveal, and what it cannot see.

For an otherwise perfect balance, the smallest fault for which the verdict is not pass with 95 %
probability: (A + t·u_r)/|c|, with A the acceptance limit, u_r digitisation and repeatability, t the
one-sided 95 % quantile, and c the sensitivity of the loss to the fault.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from weighworthy_service.checks.shows import accepted_side, open_sides, threshold
from weighworthy_service.checks.simulated_loss.budget import Acting
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Outcome, Reference
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import stated
from weighworthy_service.metrology.conformity import Tolerance
from weighworthy_service.metrology.quantity import EXACT, QUANTA

# The smallest fault that shows, and the sensitivity of the loss to it; None: not to be told.
Size = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault with what is said of it. `sensitivity`: of the loss to it, in % per `unit`.

    A name: that of a sensitivity that the readings decide. None: it cancels, or has no size here.
    """

    name: str
    unit: str | None
    sensitivity: float | str | None
    sentence: str
    unsized: str | None = None


class Reveals:
    """The faults of one check, settled but for what the readings decide."""

    def __init__(
        self,
        check: SimulatedLossCheck,
        reference: Reference,
        tolerance: Tolerance | None,
        decision: Decision,
    ) -> None:
        self._faults = tuple(_faults(check, reference))
        self._sensitivities = [fault.sensitivity for fault in self._faults]
        self._tolerance, self._decision = tolerance, decision
        interval = None if tolerance is None else tolerance.interval
        self._only = _ONE_SIDED[open_sides(interval)]
        self._units = {
            fault.unit: "" if fault.unit == "1" else f" {fault.unit}" for fault in self._faults
        }
        self._accepted: dict[Decimal, float | None] = {}

    def lines(self, found: Outcome, acting: Acting, expanded: Decimal) -> list[dict[str, Any]]:
        """A line for each fault: the smallest size that shows, or why it does not show."""
        sizes = self.sizes(found, found.slopes(), acting, expanded)
        each = zip(self._faults, sizes, strict=True)
        return [self._line(fault, *size) for fault, size in each]

    def sizes(
        self, found: Outcome, slopes: tuple[float, float, float], acting: Acting, expanded: Decimal
    ) -> list[Size]:
        """The same in numbers."""
        threshold = self._threshold(acting, expanded)
        _, final, common = slopes
        gain = final * (found.final / QUANTA)
        by_name: dict[float | str | None, float] = {"final": final, "common": common, "gain": gain}
        sizes: list[Size] = []
        for sensitivity in self._sensitivities:
            acts: Any = by_name.get(sensitivity, sensitivity)
            shows = threshold / abs(acts) if acts and threshold is not None else None
            sizes.append((shows, acts))
        return sizes

    def _line(
        self, fault: Fault, smallest: float | None, sensitivity: float | None
    ) -> dict[str, Any]:
        if smallest is None:
            message = _why_unsized(fault, sensitivity)
        else:
            unit = self._units[fault.unit]
            # One text, for it is translated as a whole.
            message = (
                f"{fault.sentence} shows with 95 % probability from {stated(smallest):f}{unit} "
                f"upwards{self._only}."
            )
        return {
            "fault": fault.name,
            "smallest": smallest,
            "unit": fault.unit,
            "sensitivity": sensitivity,
            "message": message,
        }

    def _threshold(self, acting: Acting, expanded: Decimal) -> float | None:
        """A + t·u_r in %, or None where no value can pass or there is no limit."""
        if self._tolerance is None:
            return None
        # Of two digits, an expanded uncertainty comes again and again in an archive.
        if expanded not in self._accepted:
            self._accepted[expanded] = accepted_side(
                self._tolerance.interval, expanded, self._decision
            )
        accepted = self._accepted[expanded]
        if accepted is None:
            return None
        scatter, degrees = acting.own()
        return threshold(accepted, scatter, degrees)


def _why_unsized(fault: Fault, sensitivity: float | None) -> str:
    if sensitivity is None:
        return fault.unsized or fault.sentence
    if sensitivity == 0:
        return f"{fault.sentence} does not show at all in this check."
    reason = "has no size to state: no limit, or no value can pass."
    return f"{fault.sentence} {reason}"


def _faults(check: SimulatedLossCheck, reference: Reference) -> Iterator[Fault]:
    yield Fault("zero-change", "g", "final", "A change of zero between the two readings")
    yield Fault("common-zero", "g", "common", "A zero that is off alike in both readings")
    initial, final = set(check.initial.load), set(check.final.load)
    effects = reference.weights
    for name, weights, sentence in (
        ("removed-weight", initial - final, "An error of a weight that is lifted off"),
        ("staying-weight", initial & final, "An error of a weight that stays"),
        ("placed-weight", final - initial, "An error of a weight that is put on instead"),
    ):
        if weights:
            sensitivity = effects.weights[min(weights)] / effects.per
            yield Fault(name, "g", sensitivity, sentence)
    yield Fault("gain-change", "1", "gain", "A change of gain (relative) between the readings")
    yield Fault(
        "departure-at-final",
        "g",
        "final",
        "A departure from linearity at the final load, not to be told from a change of zero,",
    )
    curved = "A constant curvature (bow at mid-range)"
    unsized = f"{curved} cannot be sized: the request states no capacity."
    yield Fault("curvature", "g", _curvature(check), curved, unsized)
    yield Fault(
        "constant-gain",
        "1",
        None,
        "A constant gain (span) error cancels in the ratio: this check never reveals it.",
    )
    yield Fault("heat", None, None, _HEAT[check.took_heat])


_HEAT: Final = {
    True: "This run was heated: a change of zero through heat shows like any change of zero.",
    False: "This run was cold: it cannot see what heat does to the balance.",
    None: "Whether the run was heated is not stated; a cold run cannot see what heat does.",
}


def _curvature(check: SimulatedLossCheck) -> float | None:
    """-4·m·L(1 - L)/Max² per g of bow (L a fraction, wet): nearly nothing."""
    capacity = check.circumstances.instrument.capacity
    if capacity is None:
        return None
    start, end = (check.circumstances.mass(p.load) for p in (check.initial, check.final))
    left = float(end) / float(start)
    # m·L exactly: 1 - left would lose the digits of a small loss.
    wet = -400 * float(EXACT.subtract(start, end)) * left / float(capacity) ** 2
    return wet if check.basis == "wet" else wet / left**2


_ONE_SIDED: Final = {
    (False, False): "",
    (True, False): " where it raises the loss, and never where it lowers it",
    (False, True): " where it lowers the loss, and never where it raises it",
}
