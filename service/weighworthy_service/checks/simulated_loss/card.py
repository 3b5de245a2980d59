"""The bench card of a simulated loss: from which start which end passes, and what to do."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.bench.acceptance import stretch
from weighworthy_service.checks.bench.card import (
    Best,
    Card,
    Ranges,
    Step,
    required,
)
from weighworthy_service.checks.bench.scan import Band, CardReading, Evaluate, Scan, on_grid, only
from weighworthy_service.checks.bench.words import named, tared
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.outcome import VERDICTS
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.wire.fields import Flag, OneOf
from weighworthy_service.wire.request import load_field, said

# How far from the nominal initial load, in scale intervals, a table of final readings goes.
INITIAL_REACH: Final = 4


def _readings(evaluate: Evaluate, check: Any, terms: Terms) -> Iterator[CardReading]:
    """The start window, the final indication for some initial ones, and the displayed loss."""
    instrument = check.circumstances.instrument
    step = instrument.scale_interval
    initial = Fraction(check.circumstances.mass(check.initial.load))
    window = _window(evaluate, check, terms)
    if window is not None:
        yield window
    if "loss_error" not in terms.limits:
        return
    final = Fraction(check.circumstances.mass(check.final.load))
    needed = required(terms, None, "loss_error")
    middle = on_grid(initial, step)
    for count in range(-INITIAL_REACH, INITIAL_REACH + 1):
        given = EXACT.add(middle, EXACT.multiply(Decimal(count), step))
        if given <= 0 or (window is not None and not _lies_in(window.bands, given)):
            continue
        begun = replace(check.initial, indication=given)

        def after(value: Decimal, begun: Any = begun) -> Any:
            ended = replace(check.final, indication=value)
            return replace(check, initial=begun, final=ended, displayed_loss=None)

        yield Scan(evaluate, terms, "loss_error", step, "g", after).find(
            final, reading="final", load=check.final.load, given=given, required=needed
        )
    if instrument.loss_interval is not None:

        def displayed(value: Decimal) -> Any:
            begun, ended = (replace(p, indication=None) for p in (check.initial, check.final))
            return replace(check, initial=begun, final=ended, displayed_loss=value)

        yield Scan(evaluate, terms, "loss_error", instrument.loss_interval, "%", displayed).find(
            Fraction(0), reading="displayed_loss", load=check.final.load, required=False
        )


def _window(evaluate: Evaluate, check: Any, terms: Terms) -> CardReading | None:
    """The initial indications that lie in the start window, as far as the capacity goes."""
    window, step = terms.start_window, check.circumstances.instrument.scale_interval
    if window is None:
        return None

    def accepts(count: int) -> bool:
        value = EXACT.multiply(Decimal(count), step)
        if value <= 0:
            return False
        initial = replace(check.initial, indication=value)
        # The final reading does not matter here; that of the start load is certainly not too low.
        final = replace(check.final, indication=value)
        try:
            begun = replace(check, initial=initial, final=final, displayed_loss=None)
        except SenseError:
            return False
        findings = evaluate(begun, only(terms)).findings
        return not any(f.code in ("start-load-off-window", "overload") for f in findings)

    found = stretch(accepts, Fraction(window.target) / Fraction(step))
    messages = ("no displayed value lies in the start window",) if found is None else ()
    bands = () if found is None else (_band(found.first, found.last, step),)
    needed = window.otherwise in ("void", "no-pass")
    return CardReading(
        reading="initial",
        criterion=None,
        step=step,
        unit="g",
        bands=bands,
        load=check.initial.load,
        required=needed,
        messages=messages,
        elsewhere=("void",) if needed else (),
    )


def _band(first: int | None, last: int | None, step: Decimal) -> Band:
    ends = (None if end is None else EXACT.multiply(Decimal(end), step) for end in (first, last))
    return Band("pass", True, *ends)


def _lies_in(bands: tuple[Band, ...], value: Decimal) -> bool:
    return any(band.holds(value) for band in bands)


def _loads(check: Any) -> tuple[Load, ...]:
    return (check.initial.load, check.final.load)


def _whole(check: Any, terms: Terms, best: Best) -> Any:
    start = _start(best.readings, best.shown(check.initial.load))
    begun = replace(check.initial, indication=start, stable=True)
    then = check.final.load
    end = best.of("final", best.shown(then), then, given=start)
    ended = replace(check.final, indication=end, stable=True)
    return replace(check, initial=begun, final=ended, displayed_loss=None)


def _start(readings: Sequence[CardReading], perfect: Decimal) -> Decimal:
    """Of the starts with ranges, that with the best verdict, and among these the nearest."""
    ranked = [
        (VERDICTS.index(r.bands[0].verdict), abs(Fraction(r.given) - Fraction(perfect)), r.given)
        for r in readings
        if r.given is not None and r.bands
    ]
    return min(ranked)[2] if ranked else perfect


def _request(stated: Mapping[str, Any]) -> dict[str, Any]:
    read = {"indication": "1 g", "stable": True}
    ends = {name: {"load": list(stated[name]), **read} for name in ("initial", "final")}
    return {**ends, **{name: stated[name] for name in ("basis", "heating") if name in stated}}


def _place(parts: Sequence[str]) -> Sequence[str]:
    match parts:
        case ["initial" | "final" as name, "load", *rest]:
            return [name, *rest]
    return parts


def _steps(check: Any, terms: Terms, table: bool) -> Iterator[Step]:
    yield tared(check.circumstances.instrument.scale_interval), ()
    on, first, then = check.circumstances.on, check.initial.load, check.final.load
    yield f"Put on {named(on(first))} and start the run. Read the display.", ("initial",)
    off = on([name for name in first if name not in then])
    more = on([name for name in then if name not in first])
    stays = on([name for name in first if name in then])
    doing = [f"take off {named(off)}"] if off else []
    doing += [f"put on {named(more)}"] if more else []
    doing += ["change nothing"] if not doing else []
    left = f"; {named(stays)} stays" if stays and off else ""
    text = " and ".join(doing)
    yield f"{text[0].upper()}{text[1:]}{left}. Read the display.", ("final",)
    yield "If only the displayed loss is kept instead:", ("displayed_loss",)


def _told_apart(reading: Mapping[str, Any]) -> str:
    return "from the displayed loss" if reading["reading"] == "displayed_loss" else "from masses"


CARD: Final = Card(
    caution="A wrong span cancels in a loss: a pass here does not stand for a span check.",
    steps=_steps,
    titles=MappingProxyType(
        {
            "initial": "display at the start",
            "final": "display at the end",
            "displayed_loss": "loss on the display",
        }
    ),
    ranges=Ranges(
        _request,
        _loads,
        _readings,
        _whole,
        _place,
        members=MappingProxyType(
            {
                "initial": load_field(
                    metadata=said("Names of the weights at the start of a simulated loss.")
                ),
                "final": load_field(metadata=said("Names of the weights at its end.")),
                "basis": OneOf(("wet", "dry"), metadata={"default": "wet"}),
                "heating": Flag(
                    metadata=said("Whether the chamber is heated in a simulated loss.")
                ),
            }
        ),
        needed=("initial", "final"),
    ),
    told_apart=_told_apart,
)
