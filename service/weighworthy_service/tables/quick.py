"""Judging thousands of requests that differ in little more than their readings.

What they have in common is read, resolved and prepared once. Whatever is odd in the rest goes the
long way, which is that of a single request; so does everything of which a kind cannot be prepared.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from hashlib import blake2b
from typing import Any, Final, Generic, NamedTuple, TypeVar

from marshmallow import ValidationError

from weighworthy_service.checks.answer import request_digest
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.metrology.quantity import QuantityError, read_quantity
from weighworthy_service.profiles.judging import judge
from weighworthy_service.tables.digests import DigestTemplate, marks_for
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.settling import KEPT, Odd, Settled, Settling, day_of
from weighworthy_service.wire.fields import Instant
from weighworthy_service.wire.request import MAX_LABEL_LENGTH, MAX_LABELS

# The longest text of circumstances that are kept.
_LONGEST: Final = 16 * 1024
_LONGEST_READING, _LONGEST_NAME = 40, 200
_MAX_NAME: Final = 64
_LOADINGS: Final = ("initial", "final")
_INSTANT: Final = Instant()

# As they are written: of the display, the digits count, too.
Texts = tuple[str | None, str | None, str | None]
Readings = tuple[Decimal | None, Decimal | None, Decimal | None]


class Parts(NamedTuple):
    """What requests differ in, as it is written. Of the time only the day decides."""

    readings: Texts
    performed_at: str | None
    performed_by: str | None

    @property
    def day(self) -> str | None:
        """The local day of the check."""
        return day_of(self.performed_at)


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
            if len(self._keys) >= KEPT:
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
