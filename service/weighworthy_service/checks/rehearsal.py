"""What a check looks like that a perfect balance has gone through, as each kind can make one.

Every indication is the mass of the reference weights, in steps of the scale interval. So limits,
budgets and decisions can be told before anybody has weighed, by the code that judges.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Any, Protocol

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.metrology.limits import Interval
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.risk import Passing

Load = tuple[str, ...]

# What the `loads` of a kind reads: mostly several loads, each a check of its own.
Loads = Any


class Steps(Protocol):
    """How the steps of a display act on a criterion that is not a sum of readings."""

    def has_grid(self, step: Decimal) -> bool:
        """Whether they show in its values."""

    def rounding(self, step: Decimal) -> Fraction:
        """How far rounding alone can shift its value."""

    def passes(
        self, accepted: Interval, ends_pass: tuple[bool, bool], step: Decimal, varying: float
    ) -> Passing:
        """Probability that its value is accepted, by how far it is off.

        `ends_pass`: whether a value just on the lower and upper end is; `varying`: the standard
        deviation of all that is new in every check.
        """


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A check that went perfectly.

    `load` are the weights it is about; of a whole run over many loads, none. `by_criterion`: steps
    of single criteria by their names, where these are not those of all.
    """

    check: Any
    load: Load
    steps: Steps | None = None
    by_criterion: Mapping[str, Steps] = field(default_factory=dict)

    def steps_of(self, name: str) -> Steps | None:
        """Those of a criterion; None: it is a sum of readings."""
        return self.by_criterion.get(name, self.steps)


def indication(load: Load, circumstances: Circumstances) -> Decimal:
    """What a perfect balance shows of a load; nothing of weights that are not there."""
    # A name without a weight is the check's to refuse, which says where it stands.
    mass = circumstances.mass([name for name in load if name in circumstances.weights])
    step = circumstances.instrument.scale_interval
    return EXACT.multiply(Decimal(round(Fraction(mass) / Fraction(step))), step)
