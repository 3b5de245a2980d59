"""The check that a bench card is about: its loads, and how it looks when all is well."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import VERDICTS
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


def complete_check(
    kind: Kind, check: Any, terms: Terms, readings: Sequence[CardReading], *, middle: bool
) -> Any:
    """A whole check with every reading among the best of its range, as far as there are any.

    `middle`: in the middle of them, otherwise as near as can be to what a perfect balance shows.
    """
    circumstances = check.circumstances
    step = circumstances.instrument.scale_interval
    nought = EXACT.multiply(Decimal(0), step)
    stage = stage_of(check)

    def best(name: str, perfect: Decimal, load: tuple[str, ...], given: Any = None) -> Decimal:
        for reading in readings:
            same = (reading.reading, reading.load, reading.given) == (name, load, given)
            if same and reading.stage in (None, stage):
                return reading.inside(perfect) if middle else reading.nearest(perfect)
        return perfect

    def left_out(name: str) -> bool:
        """A reading that nobody has to take, and that nothing good comes of."""
        return any(
            r.reading == name and r.stage in (None, stage) and not r.required and not r.bands
            for r in readings
        )

    def shown(load: tuple[str, ...]) -> Decimal:
        return on_grid(Fraction(circumstances.mass(load)), step)

    if kind.slug == "span":
        load = check.rounds[0].load
        one = replace(
            check.rounds[0],
            stage=stage,
            zero=nought,
            indication=best("indication", shown(load), load),
            zero_after=None if left_out("zero_after") else best("zero_after", nought, load),
            stable=True,
        )
        return replace(check, rounds=(one,) * rounds_needed(terms, stage))
    if kind.slug == "linearity":
        up = [
            replace(
                point,
                zero=nought,
                indication=best("indication", shown(point.load), point.load),
                direction="up",
                stable=True,
            )
            for point in check.points
        ]
        down = [replace(p, direction="down") for p in reversed(up)] if goes_down(terms) else []
        return replace(check, points=(*up, *down))
    start = _start(readings, shown(check.initial.load))
    begun = replace(check.initial, indication=start, stable=True)
    then = check.final.load
    ended = replace(
        check.final, indication=best("final", shown(then), then, given=start), stable=True
    )
    return replace(check, initial=begun, final=ended, displayed_loss=None)


def _start(readings: Sequence[CardReading], perfect: Decimal) -> Decimal:
    """Of the starts with ranges, that with the best verdict, and among these the nearest."""
    ranked = [
        (VERDICTS.index(r.bands[0].verdict), abs(Fraction(r.given) - Fraction(perfect)), r.given)
        for r in readings
        if r.given is not None and r.bands
    ]
    return min(ranked)[2] if ranked else perfect


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
