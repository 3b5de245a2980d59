"""What the placings of one load come to: net indications, the centre, differences to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from weighworthy_service.checks.contributions import Effects, Reading, combined
from weighworthy_service.checks.eccentricity.check import EccentricityCheck
from weighworthy_service.checks.placings import Net, net_indications
from weighworthy_service.metrology.quantity import EXACT


@dataclass(frozen=True, slots=True)
class Place:
    """One place of the pan with its placings; `net` is the mean of their net indications, in g."""

    position: str
    nets: Sequence[Net]
    effects: Effects

    @property
    def net(self) -> Fraction:
        return sum((Fraction(n.value) for n in self.nets), Fraction(0)) / len(self.nets)

    @property
    def index(self) -> int:
        """The first placing there."""
        return self.nets[0].index


class Pan:
    """All places of a check: the centre, and those off it in the order of their first placing."""

    def __init__(self, check: EccentricityCheck) -> None:
        self.nets = net_indications(check.placings)
        self._load, self._nominal = check.load, check.circumstances.nominal(check.load)
        by_position: dict[str, list[Net]] = {}
        for net, placing in zip(self.nets, check.placings, strict=True):
            position = "centre" if placing.central else placing.position
            by_position.setdefault(position, []).append(net)
        self.centre = self._place("centre", by_position.pop("centre"))
        self.off = [self._place(position, nets) for position, nets in by_position.items()]

    def effects(self, net: Net) -> Effects:
        """On its error. The load lies where it is meant to, so it counts as one weight."""
        reading = Reading(f"placing {net.index}", self._nominal, 1)
        zeros = {} if net.zero is None else {f"zero {net.zero}": -1}
        return Effects({reading: 1}, zeros, dict.fromkeys(self._load, -1))

    def difference(self, place: Place) -> tuple[Fraction, Effects]:
        """To the centre, in g, and what acts on it: of the same weights nothing is left."""
        effects = combined([(1, place.effects), (-1, self.centre.effects)])
        return place.net - self.centre.net, effects

    @property
    def change(self) -> tuple[Decimal, Effects] | None:
        """From the first placing at the centre to the last; None: there is one alone."""
        first, *_, last = [*self.centre.nets, self.centre.nets[-1]]
        if first is last:
            return None
        effects = combined([(1, self.effects(last)), (-1, self.effects(first))])
        return EXACT.subtract(last.value, first.value), effects

    def _place(self, position: str, nets: Sequence[Net]) -> Place:
        share = Fraction(1, len(nets))
        return Place(position, nets, combined([(share, self.effects(net)) for net in nets]))
