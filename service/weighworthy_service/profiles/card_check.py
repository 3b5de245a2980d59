"""The check that a bench card is about: its loads, and how it looks when all is well."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.profiles.card_scan import CardReading, on_grid

AFTER_ADJUSTMENT: Final = "after-adjustment"


def loads_of(check: Any) -> tuple[tuple[str, ...], ...]:
    """The loads of a check whose card is asked for, in the order of the bench."""
    if hasattr(check, "rounds"):
        return (check.rounds[0].load,)
    if hasattr(check, "points"):
        return tuple(point.load for point in check.points)
    return (check.initial.load, check.final.load)


def stage_of(check: Any) -> str:
    """What the rounds of a span check speak of that begins with no adjustment."""
    just_adjusted = check.circumstances.occasion == AFTER_ADJUSTMENT
    return "as-left" if just_adjusted else "as-found"


def rounds_needed(terms: Terms, stage: str) -> int:
    """How many rounds a span check needs so that it can pass."""
    required = terms.validity.rounds
    counted = 1 if required is None else int(required.at_least)
    together = terms.at(stage).limits.get("span_agreement")
    return max(counted, 2 if together is not None and not together.limit.when_present else 1)


def goes_down(terms: Terms) -> bool:
    """Whether a linearity check has to come down again so that it can pass."""
    limit = terms.limits.get("hysteresis")
    return limit is not None and not limit.limit.when_present


def complete_check(kind: Kind, check: Any, terms: Terms, readings: Sequence[CardReading]) -> Any:
    """A whole check with every reading in the middle of what passes, as far as anything does."""
    circumstances = check.circumstances
    step = circumstances.instrument.scale_interval
    nought = EXACT.multiply(Decimal(0), step)
    stage = stage_of(check)

    def middle(name: str, otherwise: Fraction, load: tuple[str, ...], given: Any = None) -> Decimal:
        for reading in readings:
            same = (reading.reading, reading.load, reading.given) == (name, load, given)
            if same and reading.stage in (None, stage):
                return reading.inside(on_grid(otherwise, step))
        return on_grid(otherwise, step)

    def mass(load: tuple[str, ...]) -> Fraction:
        return Fraction(circumstances.mass(load))

    if kind.slug == "span":
        load = check.rounds[0].load
        one = replace(
            check.rounds[0],
            stage=stage,
            zero=nought,
            indication=middle("indication", mass(load), load),
            zero_after=middle("zero_after", Fraction(0), load),
            stable=True,
        )
        return replace(check, rounds=(one,) * rounds_needed(terms, stage))
    if kind.slug == "linearity":
        up = [
            replace(
                point,
                zero=nought,
                indication=middle("indication", mass(point.load), point.load),
                direction="up",
                stable=True,
            )
            for point in check.points
        ]
        down = [replace(p, direction="down") for p in reversed(up)] if goes_down(terms) else []
        return replace(check, points=(*up, *down))
    first, then = check.initial.load, check.final.load
    start = on_grid(mass(first), step)
    begun = replace(check.initial, indication=start, stable=True)
    end = middle("final", mass(then), then, given=start)
    ended = replace(check.final, indication=end, stable=True)
    return replace(check, initial=begun, final=ended, displayed_loss=None)


@dataclass(frozen=True, slots=True)
class CardLoads:
    """Which members of a card's body say what lies on the pan."""

    needed: tuple[str, ...]
    taken: tuple[str, ...]


CARD_LOADS: Final[Mapping[str, CardLoads]] = MappingProxyType(
    {
        "span": CardLoads(("load",), ("load",)),
        "linearity": CardLoads(("load",), ("load",)),
        "simulated-loss": CardLoads(("initial", "final"), ("initial", "final", "basis", "heating")),
    }
)


def card_request(
    kind: Kind, document: Mapping[str, Any], stated: Mapping[str, Any]
) -> dict[str, Any]:
    """A request for a check with the loads of a card's body; the readings are placeholders."""
    names = ("instrument", "weights", "environment", "method", "occasion")
    common = {name: document[name] for name in names if name in document}
    read = {"indication": "1 g", "stable": True}
    loads = [list(load) for load in stated.get("load") or ()]
    if kind.slug == "span":
        return {**common, "rounds": [{"load": loads[0], "zero": "0 g", **read}]}
    if kind.slug == "linearity":
        return {**common, "points": [{"load": load, "zero": "0 g", **read} for load in loads]}
    ends = {name: {"load": list(stated[name]), **read} for name in ("initial", "final")}
    more = {name: stated[name] for name in ("basis", "heating") if name in stated}
    return {**common, **ends, **more}
