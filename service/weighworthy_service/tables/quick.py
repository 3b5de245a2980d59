"""Judging thousands of requests that differ in little more than their readings.

What they have in common is read, resolved and prepared once. Whatever is odd in the rest goes the
long way, which is that of a single request; so does everything of which a kind cannot be prepared.
"""

import json
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from hashlib import blake2b
from typing import Any, Final, Generic, NamedTuple, TypeVar

from marshmallow import ValidationError

from weighworthy_service.checks.answer import request_digest
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind, Prepared
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.metrology.quantity import QuantityError, read_quantity
from weighworthy_service.profiles.judging import judge, read
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.tables.digests import DigestTemplate, marks_for
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.wire.fields import Instant
from weighworthy_service.wire.request import MAX_LABEL_LENGTH, MAX_LABELS

# Sets of circumstances that are kept, and the longest text of one: bounds on the memory they take.
_KEPT: Final = 1024
_LONGEST: Final = 16 * 1024
_LONGEST_READING, _LONGEST_NAME = 40, 200
_DATE: Final = len("2026-03-17")
_MAX_NAME: Final = 64
_LOADINGS: Final = ("initial", "final")
_INSTANT: Final = Instant()

# As they are written: of the display, the digits count, too.
Texts = tuple[str | None, str | None, str | None]
Readings = tuple[Decimal | None, Decimal | None, Decimal | None]


@dataclass(frozen=True, slots=True)
class Settled:
    """What many requests have in common, down to the terms they are judged by.

    `made` is what was made of their readings so far. Readings of the same weights repeat: they
    differ by a few steps of the display.
    """

    prepared: Prepared
    profile: ProfileIdentity
    made: dict[Any, Any] = field(default_factory=dict)
    digests: dict[Any, DigestTemplate] = field(default_factory=dict)


class Periods:
    """What requests have in common but for their day, settled for each period it makes differ."""

    def __init__(self, turns: list[str]) -> None:
        self._turns = turns
        self.settled: dict[int, Settled] = {}

    def of(self, day: str | None) -> int:
        """The period of a day; no day at all is one of its own."""
        return -1 if day is None else bisect_right(self._turns, day)


def day_of(performed_at: str | None) -> str | None:
    """The local day of a check: of its time nothing else decides."""
    return None if performed_at is None else performed_at[:_DATE]


class Parts(NamedTuple):
    """What requests differ in, as it is written. Of the time only the day decides."""

    readings: Texts
    performed_at: str | None
    performed_by: str | None

    @property
    def day(self) -> str | None:
        """The local day of the check."""
        return day_of(self.performed_at)


class Odd(Exception):  # noqa: N818  no error: such a request goes the long way
    """Something that is not as usual."""


class Settling:
    """What was settled, by key and period. Keys are of one kind of value."""

    def __init__(self, at_hand: AtHand, most_made: int) -> None:
        self._at_hand = at_hand
        self._known: dict[Any, Periods] = {}
        self._made, self._most_made = 0, most_made

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
        periods, settled = self._known[key], Settled(prepared, terms.profile)
        periods.settled[periods.of(day)] = settled
        return settled

    def keep(self, settled: Settled, readings: Any, made: Any) -> None:
        """Keep what was made of readings; where there is too much, begin anew."""
        if self._made >= self._most_made:
            for periods in self._known.values():
                for one in periods.settled.values():
                    one.made.clear()
            self._made = 0
        self._made += 1
        settled.made[readings] = made


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Found(Generic[T]):
    """What was made of the outcome of one request, its labels, and its digest if it is wanted."""

    made: T
    labels: Mapping[str, str]
    digest: str | None


class Judge(Generic[T]):
    """Judges one request after another; equal circumstances are settled once.

    `make` makes what is wanted of an outcome, which rests on circumstances and readings alone; so
    much as `most_made` of it is kept.
    """

    def __init__(
        self,
        at_hand: AtHand,
        make: Callable[[Evaluation, ProfileIdentity], T],
        *,
        most_made: int = 1000,
        digests: bool = False,
    ) -> None:
        self._at_hand, self._make, self._digests = at_hand, make, digests
        self._settling = Settling(at_hand, most_made)
        self._keys: dict[tuple[Any, ...], tuple[tuple[str, bytes], Any]] = {}

    def judged(self, kind: Kind, document: dict[str, Any]) -> Found[T]:
        """What is made of the outcome that `profiles.judging.judge` has.

        Raises:
            Refusal: as that does.
        """
        try:
            common, parts = parted(document)
            settled = self._settled(kind, document, common, parts.day)
            made: T | None = settled.made.get(parts.readings)
            if made is None:
                evaluation = settled.prepared.evaluation(*readings_of(parts.readings))
                made = self._make(evaluation, settled.profile)
                self._settling.keep(settled, parts.readings, made)
        except (Odd, SenseError):
            whole = judge(kind, document, self._at_hand.find)
            digest = request_digest(document, kind.slug) if self._digests else None
            return Found(self._make(whole.evaluation, whole.profile), whole.labels, digest)
        digest = _digest(kind, document, settled, parts) if self._digests else None
        return Found(made, document.get("labels") or {}, digest)

    def _settled(
        self, kind: Kind, document: dict[str, Any], common: dict[str, Any], day: str | None
    ) -> Settled:
        same = (kind.slug, *_identities(common))
        known = self._keys.get(same)
        if known is None:
            text = json.dumps(common)
            if len(text) > _LONGEST:
                raise Odd
            key = (kind.slug, blake2b(text.encode(), digest_size=16).digest())
            if len(self._keys) >= _KEPT:
                self._keys.clear()
            # With what has these identities, so that nothing else can get them.
            self._keys[same] = (key, common)
        else:
            key = known[0]
        settled = self._settling.known(key, day)
        return settled or self._settling.settle(kind, document, key, day)


def _identities(common: dict[str, Any]) -> Iterator[Any]:
    """Equal for documents that are made of the very same parts, as rows of a table are."""
    for name, value in common.items():
        yield name
        if name in _LOADINGS:
            yield *value, *(x if x.__class__ is str else id(x) for x in value.values())
        else:
            yield value if value.__class__ is str else id(value)


def _digest(kind: Kind, document: dict[str, Any], settled: Settled, parts: Parts) -> str:
    values = (*parts.readings, parts.performed_at, parts.performed_by)
    marks = marks_for(values)
    key = tuple(marks)
    template = settled.digests.get(key)
    if template is None:
        initial, final, displayed, performed_at, performed_by = marks
        marked = {
            **document,
            "initial": {**document["initial"], "indication": initial},
            "final": {**document["final"], "indication": final},
            "displayed_loss": displayed,
            "performed_at": performed_at,
            "performed_by": performed_by,
        }
        template = settled.digests[key] = DigestTemplate(marked, kind.slug, marks)
    return template.digest(values) if template.usable else request_digest(document, kind.slug)


def parted(document: dict[str, Any]) -> tuple[dict[str, Any], Parts]:
    """What requests have in common, and what they differ in. Labels and person decide nothing.

    Raises:
        Odd: a part is not as usual.
    """
    common = dict(document)
    _check_labels(common.pop("labels", None))
    performed_by, displayed = common.pop("performed_by", None), common.pop("displayed_loss", None)
    performed_at = common.pop("performed_at", None)
    _check_text(performed_by, _LONGEST_NAME)
    _check_text(displayed, _LONGEST_READING)
    _check_time(performed_at)
    initial, final = (_indication(common, name) for name in _LOADINGS)
    return common, Parts((initial, final, displayed), performed_at, performed_by)


def readings_of(texts: Texts) -> Readings:
    """Both indications in g and the displayed loss in %. Raises: Odd."""
    initial, final, displayed = texts
    try:
        return (
            None if initial is None else read_quantity(initial, "mass"),
            None if final is None else read_quantity(final, "mass"),
            None if displayed is None else read_quantity(displayed, "share"),
        )
    except QuantityError:
        raise Odd from None


def _indication(common: dict[str, Any], name: str) -> str | None:
    part = common.get(name)
    if not isinstance(part, dict):
        raise Odd
    if "indication" not in part:
        return None
    rest = dict(part)
    common[name] = rest
    text = rest.pop("indication")
    _check_text(text, _LONGEST_READING)
    found: str | None = text
    return found


def _check_time(text: Any) -> None:
    """Only the day decides, but the rest must be right too, or the long way tells what is not."""
    if text is None:
        return
    if not isinstance(text, str):
        raise Odd
    try:
        _INSTANT.read(text)
    except ValidationError:
        raise Odd from None


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


def _check_text(text: Any, longest: int) -> None:
    if text is not None and not (isinstance(text, str) and 1 <= len(text) <= longest):
        raise Odd
