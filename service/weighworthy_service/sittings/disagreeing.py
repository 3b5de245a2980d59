"""Where the checks of a sitting say different things of what can only be one."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from itertools import pairwise
from typing import Any

from weighworthy_service.checks.outcome import Finding
from weighworthy_service.json_document import pointer
from weighworthy_service.sittings.judged import JudgedCheck


def disagreeing(judged: Sequence[JudgedCheck]) -> Iterator[Finding]:
    """Warnings: a balance or a weight that is stated otherwise than before, times that run back."""
    balances: dict[str, tuple[int, Any]] = {}
    weights: dict[str, tuple[int, Any]] = {}
    for one in judged:
        here, at = one.circumstances, ("checks", one.index)
        yield from _balance(one, balances)
        for name, weight in here.weights.items():
            first, stated = weights.setdefault(name, (one.index, weight))
            if stated != weight:
                message = (
                    f"the weight {name} is stated otherwise than in check {first + 1}; "
                    "it can be only one of both, and evidence takes it for the same"
                )
                field = pointer(*at, "weights", name)
                yield Finding("weight-stated-otherwise", "warning", message, field)
    yield from _times(judged)


def _balance(one: JudgedCheck, known: dict[str, tuple[int, Any]]) -> Iterator[Finding]:
    for name, value in _stated(one.circumstances.instrument).items():
        first, before = known.setdefault(name, (one.index, value))
        if before != value:
            message = (
                f"{name} of the balance is stated otherwise than in check {first + 1}; "
                "each check is judged by what it states itself"
            )
            field = pointer("checks", one.index, "instrument", name)
            yield Finding("balance-stated-otherwise", "warning", message, field)


def _stated(instrument: Any) -> Mapping[str, Any]:
    """What is stated; a check may add what another does not state."""
    each = {f.name: getattr(instrument, f.name) for f in fields(instrument)}
    return {name: value for name, value in each.items() if value is not None}


def _times(judged: Sequence[JudgedCheck]) -> Iterator[Finding]:
    timed = [one for one in judged if one.circumstances.performed_at is not None]
    for before, after in pairwise(timed):
        first, then = before.circumstances.performed_at, after.circumstances.performed_at
        if first is not None and then is not None and then < first:
            message = (
                f"a later check was performed before check {before.index + 1}: "
                "their order counts as that in which they were done"
            )
            field = pointer("checks", after.index, "performed_at")
            yield Finding("order-disagrees", "warning", message, field)
