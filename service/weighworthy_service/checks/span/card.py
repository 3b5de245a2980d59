"""The bench card of a span check: its readings by stage, and what to do."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.bench.card import (
    AFTER_ADJUSTMENT,
    Best,
    Card,
    Ranges,
    Step,
    required,
    stage_of,
)
from weighworthy_service.checks.bench.scan import Band, CardReading, Evaluate, Scan, on_grid
from weighworthy_service.checks.bench.words import named, tared
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT


def _readings(evaluate: Evaluate, check: Any, terms: Terms) -> Iterator[CardReading]:
    """Indication, zero after it, and difference of rounds; by stage where stages differ.

    Of the check only circumstances and the load of its first round count.
    """
    if check.circumstances.occasion == AFTER_ADJUSTMENT:
        yield from _span_stage(evaluate, check, terms, "as-left")
        return
    found = list(_span_stage(evaluate, check, terms, "as-found"))
    left = {r.reading: r for r in _span_stage(evaluate, check, terms, "as-left")}
    for reading in found:
        after = left.get(reading.reading)
        if after is None or _ranges(reading) != _ranges(after):
            yield reading
            continue
        del left[reading.reading]
        differs = _decided(reading.criterion) != _decided(after.criterion)
        as_left = after.criterion if differs else None
        yield replace(reading, stage=None, criterion_as_left=as_left)
    yield from left.values()


def _ranges(reading: CardReading) -> CardReading:
    return replace(reading, stage=None, criterion=None, messages=())


def _decided(criterion: Criterion | None) -> tuple[Any, ...] | None:
    """What a card says of a limit."""
    if criterion is None:
        return None
    limits = (criterion.lower_limit, criterion.upper_limit, criterion.limit_source)
    return (*limits, criterion.expanded_uncertainty, criterion.decision_rule)


def _span_stage(evaluate: Evaluate, check: Any, terms: Terms, stage: str) -> Iterator[CardReading]:
    step, load = check.circumstances.instrument.scale_interval, check.rounds[0].load
    nought = EXACT.multiply(Decimal(0), step)
    plain = replace(check.rounds[0], stage=stage, zero=nought, zero_after=nought)
    adjusts = stage == "as-left" and check.circumstances.occasion != AFTER_ADJUSTMENT
    before = (replace(plain, stage="adjustment"),) if adjusts else ()
    limits = terms.at(stage).limits
    mass = Fraction(check.circumstances.mass(load))
    start = on_grid(mass, step)

    def scan(criterion: str, *rounds: Callable[[Decimal], Any]) -> Scan:
        def check_at(value: Decimal) -> Any:
            return replace(check, rounds=(*before, *(made(value) for made in rounds)))

        return Scan(evaluate, terms, criterion, step, "g", check_at)

    if "span_error" in limits:
        found = scan("span_error", lambda v: replace(plain, indication=v)).find(
            mass,
            reading="indication",
            load=load,
            stage=stage,
            required=required(terms, stage, "span_error"),
        )
        start = found.inside(start)
        yield found
    if "zero_return" in limits:
        yield scan("zero_return", lambda v: replace(plain, indication=start, zero_after=v)).find(
            Fraction(0),
            reading="zero_after",
            load=load,
            stage=stage,
            required=required(terms, stage, "zero_return"),
        )
    if "span_agreement" in limits:
        found = scan(
            "span_agreement",
            lambda _: replace(plain, indication=start),
            lambda v: replace(plain, indication=EXACT.add(start, v)),
        ).find(
            Fraction(0),
            reading="difference",
            load=load,
            stage=stage,
            required=required(terms, stage, "span_agreement"),
        )
        yield replace(found, bands=tuple(_without_sign(found.bands)))


def _without_sign(bands: tuple[Band, ...]) -> Iterator[Band]:
    """Bands of a difference whichever reading is the larger."""
    for band in bands:
        if band.last is None or band.last >= 0:
            first = band.first if band.first is not None and band.first > 0 else Decimal(0)
            yield replace(band, first=first)


def _loads(check: Any) -> tuple[Load, ...]:
    return (check.rounds[0].load,)


def rounds_needed(terms: Terms, stage: str) -> int:
    """How many rounds a check needs so that it can pass."""
    asked = terms.validity.rounds
    counted = 1 if asked is None else int(asked.at_least)
    together = terms.at(stage).limits.get("span_agreement")
    return max(counted, 2 if together is not None and not together.limit.when_present else 1)


def _whole(check: Any, terms: Terms, best: Best) -> Any:
    (load,) = _loads(check)
    zero_after = None if best.left_out("zero_after") else best.of("zero_after", best.nought, load)
    one = replace(
        check.rounds[0],
        stage=best.stage,
        zero=best.nought,
        indication=best.of("indication", best.shown(load), load),
        zero_after=zero_after,
        stable=True,
    )
    return replace(check, rounds=(one,) * rounds_needed(terms, best.stage))


def _request(stated: Mapping[str, Any]) -> dict[str, Any]:
    read = {"zero": "0 g", "indication": "1 g", "stable": True}
    return {"rounds": [{"load": list(stated["load"][0]), **read}]}


def _place(parts: Sequence[str]) -> Sequence[str]:
    match parts:
        case ["rounds", _, "load", *rest]:
            return ["load", *rest]
    return parts


def _steps(check: Any, terms: Terms, table: bool) -> Iterator[Step]:
    yield tared(check.circumstances.instrument.scale_interval), ()
    load = named(check.circumstances.on(check.rounds[0].load))
    rounds = rounds_needed(terms, stage_of(check))
    yield (
        f"Put on {load}, in the middle of the pan. Wait until the display is stable.",
        ("indication",),
    )
    yield f"Take off {load}. Wait until the display is stable.", ("zero_after",)
    if rounds > 1:
        yield f"Do all this {rounds} times without adjusting in between.", ("difference",)
    else:
        yield "If you do it again without adjusting in between:", ("difference",)


CARD: Final = Card(
    caution="One load says nothing about the others, nor about a hot chamber.",
    steps=_steps,
    titles=MappingProxyType(
        {
            "indication": "display",
            "zero_after": "display after taking off",
            "difference": "difference of any two of these displays",
        }
    ),
    ranges=Ranges(_request, _loads, _readings, _whole, _place, most_loads=1, needed=("load",)),
)
