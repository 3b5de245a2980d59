"""The check that a bench card is about: its loads, and how it looks when all is well."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from weighworthy_service.checks.bench.card import Best, Card, stage_of
from weighworthy_service.checks.bench.scan import CardReading
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.rehearsal import Load
from weighworthy_service.checks.terms import Terms
from weighworthy_service.wire.request import loads_in

_PLAIN: Final = Card()


def card_part(kind: Kind) -> Card:
    """What a kind says of its card."""
    part = kind.part("card")
    card: Card = _PLAIN if part is None else part.CARD
    return card


def loads_of(kind: Kind, check: Any) -> tuple[Load, ...]:
    """The loads of a check whose card is asked for, in the order of the bench."""
    if (ranges := card_part(kind).ranges) is not None:
        return ranges.loads(check)
    return tuple(dict.fromkeys(load for _, load in loads_in(kind.form, check)))


def readings_of(kind: Kind, check: Any, terms: Terms) -> tuple[CardReading, ...]:
    """The readings that have ranges of their own."""
    ranges = card_part(kind).ranges
    return () if ranges is None else tuple(ranges.readings(kind.evaluate, check, terms))


def complete_check(
    kind: Kind, check: Any, terms: Terms, readings: Sequence[CardReading], *, middle: bool
) -> Any:
    """A whole check with every reading among the best of its range, as far as there are any.

    `middle`: in the middle of them, otherwise as near as can be to what a perfect balance shows.
    Of a kind without such readings it is the check itself, which went perfectly.
    """
    ranges = card_part(kind).ranges
    if ranges is None:
        return check
    best = Best(readings, check.circumstances, stage_of(check), middle)
    return ranges.whole(check, terms, best)


def card_request(
    kind: Kind, document: Mapping[str, Any], stated: Mapping[str, Any]
) -> dict[str, Any]:
    """A request for a check with the loads of a card's body; the readings are placeholders."""
    ranges = card_part(kind).ranges
    assert ranges is not None  # noqa: S101  of a kind without them there is a rehearsal
    names = ("instrument", "weights", "environment", "method", "occasion")
    common = {name: document[name] for name in names if name in document}
    return {**common, **ranges.request(stated)}
