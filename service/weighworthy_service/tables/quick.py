"""Judging thousands of requests that differ in little more than their readings.

What they have in common is read, resolved and prepared once. Whatever is odd in the rest goes the
long way, which is that of a single request; so does everything of which a kind cannot be prepared.
"""

import json
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
from weighworthy_service.profiles.judging import Finder, Judged, judge, read
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.wire.fields import Instant
from weighworthy_service.wire.request import MAX_LABEL_LENGTH, MAX_LABELS

# Sets of circumstances that are kept, and the longest text of one: bounds on the memory they take.
_KEPT: Final = 512
_LONGEST: Final = 16 * 1024
_MAX_NAME: Final = 64
_INSTANT: Final = Instant()

Readings = tuple[Decimal | None, Decimal | None, Decimal | None]


@dataclass(frozen=True, slots=True)
class Settled:
    """What many requests have in common, down to the terms they are judged by."""

    prepared: Prepared
    profile: ProfileIdentity


class Odd(Exception):  # noqa: N818  no error: such a request goes the long way
    """Something that is not as usual."""


class Judge:
    """Judges one request after another; equal circumstances are settled once."""

    def __init__(self, find: Finder) -> None:
        self._find = find
        self._settled: dict[tuple[str, bytes], Settled | None] = {}

    def judged(self, kind: Kind, document: dict[str, Any]) -> Judged:
        """The same as `profiles.judging.judge` answers. Raises: Refusal, as that does."""
        try:
            common, readings = parted(document)
            settled = self.settled(kind, document, common)
            evaluation = settled.prepared.evaluation(*readings)
        except (Odd, SenseError):
            return judge(kind, document, self._find)
        return Judged(document.get("labels") or {}, settled.profile, evaluation)

    def settled(self, kind: Kind, document: dict[str, Any], common: dict[str, Any]) -> Settled:
        """What the request has in common with all others of the same `common` part.

        Raises:
            Odd: nothing can be settled.
            Refusal: the request is faulty.
        """
        text = json.dumps(common)
        if len(text) > _LONGEST:
            raise Odd
        key = (kind.slug, blake2b(text.encode(), digest_size=16).digest())
        if key in self._settled:
            settled = self._settled[key]
        else:
            settled = self._settle(kind, document)
            if len(self._settled) >= _KEPT:
                self._settled.clear()
            self._settled[key] = settled
        if settled is None:
            raise Odd
        return settled

    def _settle(self, kind: Kind, document: dict[str, Any]) -> Settled | None:
        asked, profile = read(kind, document, self._find)
        terms = terms_for(profile, kind.slug, asked.check.circumstances)
        prepared = kind.prepare(asked.check, terms)
        return None if prepared is None else Settled(prepared, terms.profile)


def parted(document: dict[str, Any]) -> tuple[dict[str, Any], Readings]:
    """What decides beside the readings, and the readings, read.

    Labels and person decide nothing; of the time only its day does.

    Raises:
        Odd: a part is not as usual.
    """
    common = dict(document)
    _check_labels(common.pop("labels", None))
    _check_text(common.pop("performed_by", None))
    performed_at = common.get("performed_at")
    if performed_at is not None:
        common["performed_at"] = _day(performed_at)
    displayed = common.pop("displayed_loss", None)
    initial, final = (_indication(common, name) for name in ("initial", "final"))
    return common, (initial, final, _read(displayed, "share"))


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


def _day(text: Any) -> str:
    """The day of a time. The hour of the day must be right too, or the long way tells what is."""
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
