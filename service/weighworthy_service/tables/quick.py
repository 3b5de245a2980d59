"""Judging thousands of requests that differ in little more than their readings.

What they have in common is read, resolved and prepared once. Whatever is odd in the rest goes the
long way, which is that of a single request; so does everything of which a kind cannot be prepared.
"""

import json
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from hashlib import blake2b
from typing import Any, Final

from marshmallow import ValidationError

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind, Prepared
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.metrology.quantity import QuantityError, read_quantity
from weighworthy_service.profiles.judging import Judged, judge, read
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.tables.added import Named, named
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.wire.fields import Instant
from weighworthy_service.wire.request import MAX_LABEL_LENGTH, MAX_LABELS

# Sets of circumstances that are kept, and the longest text of one: bounds on the memory they take.
_KEPT: Final = 1024
_LONGEST: Final = 16 * 1024
_MAX_NAME: Final = 64
_INSTANT: Final = Instant()

Readings = tuple[Decimal | None, Decimal | None, Decimal | None]


@dataclass(frozen=True, slots=True)
class Settled:
    """What many requests have in common, down to the terms they are judged by."""

    prepared: Prepared
    profile: ProfileIdentity
    named: Named


class Periods:
    """What requests have in common but for their day, settled for each period it makes differ."""

    def __init__(self, turns: list[str]) -> None:
        self._turns = turns
        self.settled: dict[int, Settled] = {}

    def of(self, day: str | None) -> int:
        """The period of a day; no day at all is one of its own."""
        return -1 if day is None else bisect_right(self._turns, day)


class Odd(Exception):  # noqa: N818  no error: such a request goes the long way
    """Something that is not as usual."""


class Settling:
    """What was settled, by key and period. Keys are of one kind of value."""

    def __init__(self, at_hand: AtHand) -> None:
        self._at_hand = at_hand
        self._known: dict[Any, Periods] = {}

    def known(self, key: Any, day: str | None) -> Settled | None:
        """What was settled for requests of this key on that day."""
        periods = self._known.get(key)
        return None if periods is None else periods.settled.get(periods.of(day))

    def settle(self, kind: Kind, document: dict[str, Any], key: Any, day: str | None) -> Settled:
        """What the request has in common with all others of its key and period.

        Raises:
            Odd: its kind cannot be prepared.
            Refusal: the request is faulty.
        """
        asked, profile = read(kind, document, self._at_hand.find)
        circumstances = asked.check.circumstances
        terms = terms_for(profile, kind.slug, circumstances)
        prepared = kind.prepare(asked.check, terms)
        if prepared is None:
            raise Odd
        if key not in self._known:
            if len(self._known) >= _KEPT:
                self._known.clear()
            self._known[key] = Periods(self._at_hand.turns(circumstances.weights.values()))
        periods = self._known[key]
        settled = Settled(prepared, terms.profile, named(terms.profile))
        periods.settled[periods.of(day)] = settled
        return settled


class Judge:
    """Judges one request after another; equal circumstances are settled once."""

    def __init__(self, at_hand: AtHand) -> None:
        self._at_hand, self._settling = at_hand, Settling(at_hand)

    def judged(self, kind: Kind, document: dict[str, Any]) -> Judged:
        """The same as `profiles.judging.judge` answers. Raises: Refusal, as that does."""
        try:
            common, day, readings = parted(document)
            text = json.dumps(common)
            if len(text) > _LONGEST:
                raise Odd
            key = (kind.slug, blake2b(text.encode(), digest_size=16).digest())
            settled = self._settling.known(key, day)
            if settled is None:
                settled = self._settling.settle(kind, document, key, day)
            evaluation = settled.prepared.evaluation(*readings)
        except (Odd, SenseError):
            return judge(kind, document, self._at_hand.find)
        return Judged(document.get("labels") or {}, settled.profile, evaluation)


def parted(document: dict[str, Any]) -> tuple[dict[str, Any], str | None, Readings]:
    """What decides beside day and readings; the local day of the check; and the readings, read.

    Labels and person decide nothing.

    Raises:
        Odd: a part is not as usual.
    """
    common = dict(document)
    _check_labels(common.pop("labels", None))
    _check_text(common.pop("performed_by", None))
    day = _day(common.pop("performed_at", None))
    displayed = common.pop("displayed_loss", None)
    initial, final = (_indication(common, name) for name in ("initial", "final"))
    return common, day, (initial, final, _read(displayed, "share"))


def _indication(common: dict[str, Any], name: str) -> Decimal | None:
    part = common.get(name)
    if not isinstance(part, dict):
        raise Odd
    if "indication" not in part:
        return None
    rest = dict(part)
    common[name] = rest
    return _read(rest.pop("indication"), "mass")


def _read(text: Any, dimension: str) -> Decimal | None:
    if text is None:
        return None
    try:
        return read_quantity(text, dimension)
    except QuantityError:
        raise Odd from None


def _day(text: Any) -> str | None:
    """The day of a time. The time of day must be right too, or the long way tells what is not."""
    if text is None:
        return None
    if not isinstance(text, str):
        raise Odd
    try:
        _INSTANT.read(text)
    except ValidationError:
        raise Odd from None
    return text[:10]


def _check_labels(labels: Any) -> None:
    if labels is None:
        return
    if not isinstance(labels, Mapping) or len(labels) > MAX_LABELS:
        raise Odd
    for name, text in labels.items():
        if not 1 <= len(name) <= _MAX_NAME:
            raise Odd
        if not isinstance(text, str) or len(text) > MAX_LABEL_LENGTH:
            raise Odd


def _check_text(text: Any) -> None:
    if text is not None and not (isinstance(text, str) and 1 <= len(text) <= 200):
        raise Odd
