"""The bench card of a linearity check: a table of its loads, and what to do."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.bench.card import (
    Best,
    Card,
    Ranges,
    Step,
    required,
)
from weighworthy_service.checks.bench.scan import CardReading, Evaluate, Scan
from weighworthy_service.checks.bench.words import named, on_display, tared
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.wire.card import MAX_LOADS


def _readings(evaluate: Evaluate, check: Any, terms: Terms) -> Iterator[CardReading]:
    """The indication of each point. What joins several points has no range of one reading."""
    step = check.circumstances.instrument.scale_interval
    if "point_error" not in terms.limits:
        return
    for point in check.points:
        alone = replace(point, zero=EXACT.multiply(Decimal(0), step))

        def check_at(value: Decimal, alone: Any = alone) -> Any:
            return replace(check, points=(replace(alone, indication=value),))

        yield Scan(evaluate, terms, "point_error", step, "g", check_at).find(
            Fraction(check.circumstances.mass(point.load)),
            reading="indication",
            load=point.load,
            required=required(terms, None, "point_error"),
        )


def _loads(check: Any) -> tuple[Load, ...]:
    return tuple(point.load for point in check.points)


def _goes_down(terms: Terms) -> bool:
    """Whether a check has to come down again so that it can pass."""
    return "hysteresis" in terms.limits and required(terms, None, "hysteresis")


def _whole(check: Any, terms: Terms, best: Best) -> Any:
    up = [
        replace(
            point,
            zero=best.nought,
            indication=best.of("indication", best.shown(point.load), point.load),
            direction="up",
            stable=True,
        )
        for point in check.points
    ]
    down = [replace(p, direction="down") for p in reversed(up)] if _goes_down(terms) else []
    return replace(check, points=(*up, *down))


def _request(stated: Mapping[str, Any]) -> dict[str, Any]:
    read = {"zero": "0 g", "indication": "1 g", "stable": True}
    return {"points": [{"load": list(load), **read} for load in stated["load"]]}


def _place(parts: Sequence[str]) -> Sequence[str]:
    match parts:
        case ["points", position, "load", *rest]:
            return ["load", position, *rest]
    return parts


def _steps(check: Any, terms: Terms, table: bool) -> Iterator[Step]:
    on, step = check.circumstances.on, check.circumstances.instrument.scale_interval
    yield tared(step), ()
    loads = "; ".join(dict.fromkeys(named(on(point.load)) for point in check.points))
    which = "each load of the table in turn" if table else f"in turn {loads}; each time"
    text = (
        f"Put on {which}, wait until the display is stable, read it, "
        f"take the load off. If the display is then not {on_display(Decimal(0), step, 'g')}, tare."
    )
    yield text, ("indication",)
    if _goes_down(terms):
        yield "After the last load go through the loads again, downwards.", ()


def _told_apart(reading: Mapping[str, Any]) -> str:
    return f"at {reading['nominal']}"


CARD: Final = Card(
    caution="A cold run says nothing about what heat does to the balance.",
    steps=_steps,
    titles=MappingProxyType(
        {
            "indication": "display",
            "terminal_nonlinearity": "departure from the line through zero and the highest load",
            "zero_based_nonlinearity": "departure from the best line through zero",
            "independent_nonlinearity": "departure from the best free line",
            "least_squares_nonlinearity": "departure from the least-squares line",
            "hysteresis": "difference between down and up",
        }
    ),
    ranges=Ranges(
        _request, _loads, _readings, _whole, _place, most_loads=MAX_LOADS, needed=("load",)
    ),
    by_load=True,
    told_apart=_told_apart,
)
