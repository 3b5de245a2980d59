"""What a bench card says in words: what to do, under which conditions, and what to do if not."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from weighworthy_service.checks.bench.words import amount
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.weights import ReferenceWeight

# Counts that a profile may ask for, as people call them.
COUNTED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "rounds": "rounds",
        "points": "different loads",
        "placings": "placings",
        "runs": "runs",
        "set_points": "set points",
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
_NO_CALIBRATION: Final = (
    "This check does not replace calibration by a competent laboratory. Where weighing is "
    "regulated, local rules and the person responsible decide."
)


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


def cautions(own: str) -> list[str]:
    """What to beware of, and what the check is not; `own`: what its kind has to say."""
    return [
        "After a run chamber and pan are hot: let them cool, and hold weights with tweezers.",
        own,
        _NO_CALIBRATION,
    ]
