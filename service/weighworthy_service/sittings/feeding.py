"""The same checks once more, with what others of the sitting found out about the balance.

What a check found out it has as `results.declare.instrument`, fields as a request states them; or
its kind has a part `feeds`:

    feeds(check, evaluation) -> Iterable[Mapping[str, Any]]
        such fields, those that belong together in one mapping; None: nothing to feed, but what is
        fed must not come beside it.

They are taken only where a request states none of these fields, and never for the answer itself:
what is made of them stands beside it, each figure with where it comes from and what it does to U.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weighworthy_service.profiles.judging import Finder
from weighworthy_service.profiles.refusal import Refusal
from weighworthy_service.sittings.judged import JudgedCheck, judged_again
from weighworthy_service.tables.line_requests import merged


@dataclass(frozen=True, slots=True)
class Offer:
    """Fields of `instrument` that a check found out about, all those it takes the place of."""

    source: JudgedCheck
    fields: Mapping[str, Any]

    @property
    def given(self) -> dict[str, Any]:
        """What is fed."""
        return {name: value for name, value in self.fields.items() if value is not None}


@dataclass(frozen=True, slots=True)
class Effect:
    """What figures do to one criterion of a check: before and after."""

    before: JudgedCheck
    after: JudgedCheck
    key: str


@dataclass(frozen=True, slots=True)
class Feeding:
    """One offer given to one check alone. `refused`: why it cannot be taken, then no effects."""

    offer: Offer
    target: JudgedCheck
    effects: tuple[Effect, ...]
    refused: str | None = None


@dataclass(frozen=True, slots=True)
class Fed:
    """The second evaluation: all checks, those that were given anything judged anew with all."""

    feedings: tuple[Feeding, ...]
    judged: tuple[JudgedCheck, ...]
    changed: tuple[int, ...]


def feed(judged: Sequence[JudgedCheck], find: Finder) -> Fed | None:
    """What the checks come to with figures of their own sitting; None: nobody was given any."""
    feedings: list[Feeding] = []
    again: list[JudgedCheck] = []
    changed: list[int] = []
    for target in judged:
        taken: dict[str, Any] = {}
        for offer in _offers(judged, target):
            if any(name in taken for name in offer.fields):
                continue  # the first check that found them out has them
            one = _fed(target, offer.given, find)
            if isinstance(one, str):
                feedings.append(Feeding(offer, target, (), one))
                continue
            feedings.append(Feeding(offer, target, tuple(_effects(target, one))))
            taken |= offer.fields
        whole = _fed(target, taken, find) if taken else target
        if isinstance(whole, str):  # each alone was right
            whole = target
        elif taken:
            changed.append(target.index)
        again.append(whole)
    return Fed(tuple(feedings), tuple(again), tuple(changed)) if feedings else None


def _offers(judged: Sequence[JudgedCheck], target: JudgedCheck) -> Iterator[Offer]:
    stated = target.asked.document.get("instrument") or {}
    for source in judged:
        if source is target or source.evaluation.verdict == "void":
            continue
        for fields in _found_out(source):
            if all(stated.get(name) is None for name in fields):
                yield Offer(source, fields)


def _found_out(source: JudgedCheck) -> Iterable[Mapping[str, Any]]:
    part = source.kind.part("feeds")
    if part is not None:
        found: Iterable[Mapping[str, Any]] = part.feeds(source.check, source.evaluation)
        return found
    declared = source.evaluation.results.get("declare")
    instrument = declared.get("instrument") if isinstance(declared, dict) else None
    return [instrument] if instrument else []


def _fed(target: JudgedCheck, fields: Mapping[str, Any], find: Finder) -> JudgedCheck | str:
    document = merged(target.asked.document, {"instrument": dict(fields)})
    try:
        return judged_again(target, document, find)
    except Refusal as refusal:
        return refusal.detail


def _effects(before: JudgedCheck, after: JudgedCheck) -> Iterator[Effect]:
    then = {criterion.key: criterion for criterion in after.evaluation.criteria}
    for criterion in before.evaluation.criteria:
        new = then.get(criterion.key)
        if new is not None and (new.expanded_uncertainty, new.verdict) != (
            criterion.expanded_uncertainty,
            criterion.verdict,
        ):
            yield Effect(before, after, criterion.key)
