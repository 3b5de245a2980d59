"""What a span check says over time: the first round as found of each load; a later repeats it."""

from collections.abc import Iterator, Sequence
from typing import Any

from weighworthy_service.checks.as_found import Measured, measured_of
from weighworthy_service.checks.faults import Said


def as_found(criteria: Sequence[Said], _results: Said) -> Iterator[Measured]:
    """The errors of indication by load."""
    seen = set()
    for criterion in criteria:
        if criterion.get("name") != "span_error" or criterion.get("stage") != "as-found":
            continue
        measured = measured_of("span_error", criterion, criterion.get("value"), of_weights=True)
        if measured is not None and measured.load not in seen:
            seen.add(measured.load)
            yield measured


def readings(criteria: Sequence[Said], _results: Said) -> tuple[tuple[Any, ...], int]:
    """One of each round."""
    values = tuple(
        (criterion.get("load"), criterion.get("value"))
        for criterion in criteria
        if criterion.get("name") == "span_error" and criterion.get("value") is not None
    )
    return values, len(values)


def adjusted(answer: Said) -> bool:
    """Whether there was an adjustment between the rounds, or after them.

    An answer leaves out what was no reading: a gap in the rounds is an adjustment, and so is one
    with nothing read after it. An answer that does not tell its rounds shows it by verdicts that
    differ, or by a verdict as found that is stated to be none.
    """
    verdict = answer["verdict"]
    found, left = (answer.get(name, verdict) for name in ("verdict_as_found", "verdict_as_left"))
    rounds = (answer.get("results") or {}).get("rounds")
    if not isinstance(rounds, list):
        return bool(found != left)
    indexes = [one.get("index") for one in rounds if isinstance(one, dict)]
    return indexes != list(range(len(indexes))) or left is None
