"""The readings of each kind of check that a bench card gives ranges for, in their order."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Criterion
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.profiles.acceptance import stretch
from weighworthy_service.profiles.card_check import AFTER_ADJUSTMENT
from weighworthy_service.profiles.card_scan import Band, CardReading, Scan, on_grid, only

# How far from the nominal initial load, in scale intervals, a table of final readings goes.
INITIAL_REACH: Final = 4

Readings = Callable[[Kind, Any, Terms], Iterator[CardReading]]


def span_readings(kind: Kind, check: Any, terms: Terms) -> Iterator[CardReading]:
    """Indication, zero after it, and difference of rounds; by stage where stages differ.

    Of the check only circumstances and the load of its first round count.
    """
    if check.circumstances.occasion == AFTER_ADJUSTMENT:
        yield from _span_stage(kind, check, terms, "as-left")
        return
    found = list(_span_stage(kind, check, terms, "as-found"))
    left = {r.reading: r for r in _span_stage(kind, check, terms, "as-left")}
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


def _span_stage(kind: Kind, check: Any, terms: Terms, stage: str) -> Iterator[CardReading]:
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

        return Scan(kind, terms, criterion, step, "g", check_at)

    if "span_error" in limits:
        found = scan("span_error", lambda v: replace(plain, indication=v)).find(
            mass,
            reading="indication",
            load=load,
            stage=stage,
            required=_required(terms, stage, "span_error"),
        )
        start = found.inside(start)
        yield found
    if "zero_return" in limits:
        yield scan("zero_return", lambda v: replace(plain, indication=start, zero_after=v)).find(
            Fraction(0),
            reading="zero_after",
            load=load,
            stage=stage,
            required=_required(terms, stage, "zero_return"),
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
            required=_required(terms, stage, "span_agreement"),
        )
        yield replace(found, bands=tuple(_without_sign(found.bands)))


def linearity_readings(kind: Kind, check: Any, terms: Terms) -> Iterator[CardReading]:
    """The indication of each point. What joins several points has no range of one reading."""
    step = check.circumstances.instrument.scale_interval
    if "point_error" not in terms.limits:
        return
    for point in check.points:
        alone = replace(point, zero=EXACT.multiply(Decimal(0), step))

        def check_at(value: Decimal, alone: Any = alone) -> Any:
            return replace(check, points=(replace(alone, indication=value),))

        yield Scan(kind, terms, "point_error", step, "g", check_at).find(
            Fraction(check.circumstances.mass(point.load)),
            reading="indication",
            load=point.load,
            required=_required(terms, None, "point_error"),
        )


def simulated_loss_readings(kind: Kind, check: Any, terms: Terms) -> Iterator[CardReading]:
    """The start window, the final indication for some initial ones, and the displayed loss."""
    instrument = check.circumstances.instrument
    step = instrument.scale_interval
    initial = Fraction(check.circumstances.mass(check.initial.load))
    window = _window(kind, check, terms)
    if window is not None:
        yield window
    if "loss_error" not in terms.limits:
        return
    final = Fraction(check.circumstances.mass(check.final.load))
    required = _required(terms, None, "loss_error")
    middle = on_grid(initial, step)
    for count in range(-INITIAL_REACH, INITIAL_REACH + 1):
        given = EXACT.add(middle, EXACT.multiply(Decimal(count), step))
        if given <= 0 or (window is not None and not _lies_in(window.bands, given)):
            continue
        begun = replace(check.initial, indication=given)

        def after(value: Decimal, begun: Any = begun) -> Any:
            ended = replace(check.final, indication=value)
            return replace(check, initial=begun, final=ended, displayed_loss=None)

        yield Scan(kind, terms, "loss_error", step, "g", after).find(
            final, reading="final", load=check.final.load, given=given, required=required
        )
    if instrument.loss_interval is not None:

        def displayed(value: Decimal) -> Any:
            begun, ended = (replace(p, indication=None) for p in (check.initial, check.final))
            return replace(check, initial=begun, final=ended, displayed_loss=value)

        yield Scan(kind, terms, "loss_error", instrument.loss_interval, "%", displayed).find(
            Fraction(0), reading="displayed_loss", load=check.final.load, required=False
        )


def _window(kind: Kind, check: Any, terms: Terms) -> CardReading | None:
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
        findings = kind.evaluate(begun, only(terms)).findings
        return not any(f.code in ("start-load-off-window", "overload") for f in findings)

    found = stretch(accepts, Fraction(window.target) / Fraction(step))
    messages = ("no displayed value lies in the start window",) if found is None else ()
    bands = () if found is None else (_band(found.first, found.last, step),)
    required = window.otherwise in ("void", "no-pass")
    return CardReading(
        reading="initial",
        criterion=None,
        step=step,
        unit="g",
        bands=bands,
        load=check.initial.load,
        required=required,
        messages=messages,
        elsewhere=("void",) if required else (),
    )


def _band(first: int | None, last: int | None, step: Decimal) -> Band:
    ends = (None if end is None else EXACT.multiply(Decimal(end), step) for end in (first, last))
    return Band("pass", True, *ends)


def _required(terms: Terms, stage: str | None, name: str) -> bool:
    return not terms.at(stage).limits[name].limit.when_present


def _lies_in(bands: tuple[Band, ...], value: Decimal) -> bool:
    return any(band.holds(value) for band in bands)


def _without_sign(bands: tuple[Band, ...]) -> Iterator[Band]:
    """Bands of a difference whichever reading is the larger."""
    for band in bands:
        if band.last is None or band.last >= 0:
            first = band.first if band.first is not None and band.first > 0 else Decimal(0)
            yield replace(band, first=first)


READINGS: Final[Mapping[str, Readings]] = MappingProxyType(
    {
        "span": span_readings,
        "linearity": linearity_readings,
        "simulated-loss": simulated_loss_readings,
    }
)
