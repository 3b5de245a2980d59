"""What a bench card says in words: what to do, under which conditions, and what to do if not."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.metrology.rounding import rounded
from weighworthy_service.metrology.weights import ReferenceWeight
from weighworthy_service.profiles.limit_words import listed

TITLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "indication": "display",
        "zero_after": "display after taking off",
        "difference": "difference of any two of these displays",
        "initial": "display at the start",
        "final": "display at the end",
        "displayed_loss": "loss on the display",
        "terminal_nonlinearity": "departure from the line through zero and the highest load",
        "zero_based_nonlinearity": "departure from the best line through zero",
        "independent_nonlinearity": "departure from the best free line",
        "least_squares_nonlinearity": "departure from the least-squares line",
        "hysteresis": "difference between down and up",
    }
)
_STEPS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "repeat": "Clean pan and weights, tare, and do the whole check again",
        "adjust": "Adjust the balance, then do the whole check again",
        "service": "Call for service",
        "out-of-service": "Take the balance out of use, label it, and tell the person responsible: "
        "results since the last passing check are in doubt until that person has assessed them",
    }
)
_NO_STEPS: Final = (
    "The profile states no steps. Do not use the balance before the person responsible has decided."
)
_CAUTIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "span": "One load says nothing about the others, nor about a hot chamber.",
        "linearity": "A cold run says nothing about what heat does to the balance.",
        "simulated-loss": "A wrong span cancels in a loss: a pass here does not stand for "
        "a span check.",
    }
)

_NO_CALIBRATION: Final = (
    "This check does not replace calibration by a competent laboratory. Where weighing is "
    "regulated, local rules and the person responsible decide."
)


def amount(value: Decimal | Fraction, unit: str) -> str:
    """A number as people write it with its unit."""
    digits = EXACT.normalize(rounded(value, 15))
    return f"{digits:f} {unit}"


def on_display(value: Decimal, step: Decimal, unit: str) -> str:
    """A multiple of the step in the digits of the display."""
    places = max(0, -int(EXACT.normalize(step).as_tuple().exponent))
    return f"{value.copy_abs() if value == 0 else value:.{places}f} {unit}"


def named(weights: Sequence[ReferenceWeight]) -> str:
    """Weights by name, with their nominal mass."""
    total = amount(sum((Fraction(w.nominal) for w in weights), Fraction(0)), "g")
    return f"{listed([w.name for w in weights])} ({total}{' together' if len(weights) > 1 else ''})"


def steps(
    slug: str, check: Any, rounds: int, *, down: bool, table: bool
) -> Iterator[tuple[str, tuple[str, ...]]]:
    """What to do, in order, each with the readings that belong to it.

    `down`, `table`: whether a linearity check comes down again, and has a table of its loads.
    """
    on = check.circumstances.on
    zero = on_display(Decimal(0), check.circumstances.instrument.scale_interval, "g")
    yield f"Pan empty: tare. The display must show {zero}; if not, tare again.", ()
    if slug == "span":
        load = named(on(check.rounds[0].load))
        yield (
            f"Put on {load}, in the middle of the pan. Wait until the display is stable.",
            ("indication",),
        )
        yield f"Take off {load}. Wait until the display is stable.", ("zero_after",)
        if rounds > 1:
            yield f"Do all this {rounds} times without adjusting in between.", ("difference",)
        else:
            yield "If you do it again without adjusting in between:", ("difference",)
    elif slug == "linearity":
        loads = "; ".join(dict.fromkeys(named(on(point.load)) for point in check.points))
        which = "each load of the table in turn" if table else f"in turn {loads}; each time"
        text = (
            f"Put on {which}, wait until the display is stable, read it, "
            f"take the load off. If the display is then not {zero}, tare."
        )
        yield text, ("indication",)
        if down:
            yield "After the last load go through the loads again, downwards.", ()
    else:
        yield from _loss_steps(check)


def _loss_steps(check: Any) -> Iterator[tuple[str, tuple[str, ...]]]:
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


def conditions(
    terms: Terms,
    weights: Iterable[ReferenceWeight],
    counts: tuple[str, int] | None,
    day: date | None,
) -> Iterator[str]:
    """What a check must fulfil to count at all; `day`: the one that the card is for, if stated."""
    validity = terms.validity
    if validity.warm_up is not None:
        minutes = amount(Fraction(validity.warm_up.at_least) / 60, "min")
        yield f"The balance has been on for at least {minutes}."
    if counts is not None:
        yield f"At least {counts[1]} {counts[0]}."
    dues = [weight.due_on for weight in weights if weight.due_on is not None]
    if dues and (day is None or day <= min(dues)):
        yield f"Weights are in date: this card holds up to and including {min(dues)}."
    yield "Every reading has settled. Otherwise the check counts for nothing: do it again."


def response(ladder: Sequence[Mapping[str, Any]] | None) -> list[dict[str, Any]]:
    """The rungs after a failure, as the profile states them."""
    if not ladder:
        return [{"step": None, "times": None, "text": _NO_STEPS}]
    rungs = []
    for rung in ladder:
        times = rung.get("times")
        often = {None: "", 1: ", once"}.get(times, f", at most {times} times")
        text = f"{_STEPS[rung['step']]}{often}."
        rungs.append({"step": rung["step"], "times": times, "text": text})
    return rungs


def schedule(form: Mapping[str, Any] | None) -> str | None:
    """When the check is due, as the profile states it."""
    if not form:
        return None
    parts = []
    if (every := form.get("every")) is not None:
        parts.append(f"every {every}")
    if form.get("at") is not None:
        parts.append("at first use")
    if (grace := form.get("grace")) is not None:
        parts.append(f"at most {grace} late")
    if after := form.get("after"):
        parts.append(f"after: {', '.join(after)}")
    return "; ".join(parts) or None


def cautions(slug: str) -> list[str]:
    """What to beware of, and what the check is not."""
    return [
        "After a run chamber and pan are hot: let them cool, and hold weights with tweezers.",
        _CAUTIONS[slug],
        _NO_CALIBRATION,
    ]
