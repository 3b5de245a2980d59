"""What a kind of check may say of its bench card: the `CARD` of its module `card`.

A kind that says nothing has a card all the same, made from its form and its limits. What follows is
for kinds of which single readings have ranges of their own, or that have better words.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from marshmallow.fields import Field

from weighworthy_service.checks.bench.scan import CardReading, Evaluate, on_grid
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT

AFTER_ADJUSTMENT: Final = "after-adjustment"

# What to do, and the readings that are then on the display.
Step = tuple[str, tuple[str, ...]]


def stage_of(check: Any) -> str:
    """What the readings of a check speak of that begins with no adjustment."""
    just_adjusted = check.circumstances.occasion == AFTER_ADJUSTMENT
    return "as-left" if just_adjusted else "as-found"


def required(terms: Terms, stage: str | None, criterion: str) -> bool:
    """Whether a check cannot pass without this criterion; it has a limit."""
    return not terms.at(stage).limits[criterion].limit.when_present


@dataclass(frozen=True, slots=True)
class Best:
    """The best displays of a card: each among the best of its range, as far as there are any.

    `middle`: in the middle of them, otherwise as near as can be to what a perfect balance shows.
    """

    readings: Sequence[CardReading]
    circumstances: Circumstances
    stage: str
    middle: bool

    @property
    def nought(self) -> Decimal:
        """What the display shows of nothing."""
        return EXACT.multiply(Decimal(0), self.circumstances.instrument.scale_interval)

    def shown(self, load: Load) -> Decimal:
        """What a perfect balance shows of a load."""
        step = self.circumstances.instrument.scale_interval
        return on_grid(Fraction(self.circumstances.mass(load)), step)

    def of(self, name: str, perfect: Decimal, load: Load, given: Any = None) -> Decimal:
        """The best display of a reading, if it has a range; otherwise the perfect one."""
        for reading in self.readings:
            same = (reading.reading, reading.load, reading.given) == (name, load, given)
            if same and reading.stage in (None, self.stage):
                return reading.inside(perfect) if self.middle else reading.nearest(perfect)
        return perfect

    def left_out(self, name: str) -> bool:
        """Whether nobody has to take a reading, and nothing good comes of it."""
        return any(
            r.reading == name and r.stage in (None, self.stage) and not r.required and not r.bands
            for r in self.readings
        )


@dataclass(frozen=True, slots=True)
class Ranges:
    """How a card finds between which displays a check passes.

    A card is asked for with `load`, up to `most_loads` of them, and with `members`, of which those
    in `needed` must be there. `request` makes a request of them for the kind's form, whose readings
    are placeholders, and `place` says of a path in it where the card's own body has the same.
    `loads` are those of a check, in the order of the bench; `readings` those with ranges; `whole`
    puts the best displays into a check, as many of them as it takes to pass.
    """

    request: Callable[[Mapping[str, Any]], dict[str, Any]]
    loads: Callable[[Any], tuple[Load, ...]]
    readings: Callable[[Evaluate, Any, Terms], Iterator[CardReading]]
    whole: Callable[[Any, Terms, Best], Any]
    place: Callable[[Sequence[str]], Sequence[str]]
    most_loads: int = 0
    members: Mapping[str, Field[Any]] = field(default_factory=lambda: MappingProxyType({}))
    needed: tuple[str, ...] = ()


def _nothing(_: Mapping[str, Any]) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Card:
    """What a kind says of its card.

    `caution`: what a pass does not show, in a sentence. `steps` of a check under its terms, in
    their order; the third argument tells whether readings stand in a table. `titles` of readings,
    and of criteria that only a whole check can be held against. `by_load`: readings of one step
    stand in a table with a row for each load. `told_apart`: what sets one of the readings, as the
    card has it, apart from others of its criterion.
    """

    caution: str | None = None
    steps: Callable[[Any, Terms, bool], Iterator[Step]] | None = None
    titles: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    ranges: Ranges | None = None
    by_load: bool = False
    told_apart: Callable[[Mapping[str, Any]], str] = _nothing
