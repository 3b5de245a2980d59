"""Judging thousands of requests that differ in little more than their readings.

What they have in common is read, resolved and prepared once. Whatever is odd in the rest goes the
long way, which is that of a single request; so does everything of which a kind cannot be prepared.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from hashlib import blake2b
from typing import Any, Final, Generic, NamedTuple, TypeVar

from weighworthy_service.checks.answer import request_digest
from weighworthy_service.checks.answer_text import AnswerForm, answer_text
from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Evaluation, Verdict
from weighworthy_service.checks.prepared import Formed, Writer
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.profiles.judging import Judged, judge
from weighworthy_service.tables.finder import AtHand
from weighworthy_service.tables.glance import Glance
from weighworthy_service.tables.parting import Parting, Parts, Texts
from weighworthy_service.tables.settling import KEPT, Odd, Settled, Settling

# The longest text of circumstances that are kept, and of all together where they outlive a request.
_LONGEST: Final = 16 * 1024
_TOGETHER: Final = 1024 * 1024
# Readings of the same weights repeat: they differ by a few steps of the display. So many sets of
# numbers are kept, of some 3 KiB each.
_NUMBERS: Final = 2048
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Found(Generic[T]):
    """What was made of the outcome of one request, its labels, and its digest if it is wanted."""

    made: T
    labels: Mapping[str, str]
    digest: str | None


class Said(NamedTuple):
    """An answer as it is sent, its verdict, and the profile that it rests on."""

    text: bytes
    verdict: Verdict | None
    profile: ProfileIdentity


class _Parted(NamedTuple):
    """A request as usual: the text of what it has in common with others, and what differs."""

    key: str
    parts: Parts
    settled: Settled
    digest: str


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
        self._partings: dict[str, Parting] = {}
        self._keys: dict[tuple[Any, ...], tuple[bytes, Any]] = {}

    def judged(self, kind: Kind, document: dict[str, Any]) -> Found[T]:
        """What is made of the outcome that `profiles.judging.judge` has.

        Raises:
            Refusal: as that does.
        """
        try:
            parting = self._parting(kind)
            common, parts = parting.part(document)
            settled = self._settled(kind, document, parting.identities(common), common, parts)
            made: T | None = settled.made.get(parts.readings)
            if made is None:
                evaluation = settled.prepared.evaluation(*parting.values(parts.readings))
                made = self._make(evaluation, settled.profile)
                self._settling.keep(settled, parts.readings, made)
        except (Odd, SenseError):
            whole = judge(kind, document, self._at_hand.find)
            digest = request_digest(document, kind.slug) if self._digests else None
            return Found(self._make(whole.evaluation, whole.profile), whole.labels, digest)
        digest = None
        if self._digests:
            digest = _digest(kind, document, parting, settled, parts)
        return Found(made, document.get("labels") or {}, digest)

    def _parting(self, kind: Kind) -> Parting:
        if kind.slug not in self._partings:
            self._partings[kind.slug] = Parting(kind)
        return self._partings[kind.slug]

    def _settled(
        self,
        kind: Kind,
        document: dict[str, Any],
        identities: tuple[Any, ...],
        common: dict[str, Any],
        parts: Parts,
    ) -> Settled:
        same = (kind.slug, identities)
        known = self._keys.get(same)
        if known is None:
            text = json.dumps(common)
            if len(text) > _LONGEST:
                raise Odd
            alike = blake2b(text.encode(), digest_size=16).digest()
            if len(self._keys) >= KEPT:
                self._keys.clear()
            # With what has these identities, so that nothing else can get them.
            self._keys[same] = (alike, common)
        else:
            alike = known[0]
        key = (kind.slug, alike, parts.decided)
        settled = self._settling.known(key, parts.day)
        return settled or self._settling.settle(kind, document, key, parts.day)


class Single:
    """Judges requests of one kind that come one by one, from any thread.

    Those of a laboratory mostly have all but their readings in common with an earlier one. What
    they have in common is found again by its content, and bounded by the length of that.
    """

    def __init__(self, kind: Kind, at_hand: AtHand) -> None:
        self._kind, self._at_hand = kind, at_hand
        self._parting = None if kind.preparation is None else Parting(kind)
        self._writer = None if kind.preparation is None else kind.preparation.writer
        parting = None if self._writer is None else self._parting
        self._glance = None if parting is None else Glance(parting)
        self._formed = lru_cache(maxsize=_NUMBERS)(self._form)
        self._settling, self._kept = Settling(at_hand), 0

    def judged(self, document: Any) -> tuple[Judged, str]:
        """What `profiles.judging.judge` and `checks.answer.request_digest` have.

        Raises:
            Refusal: as `judge` does.
        """
        return self._evaluated(document, self._parted(document))

    def said(self, raw: bytes, parse: Callable[[bytes], Any], version: str) -> Said:
        """The answer as `answer_text` writes it; `parse` reads a body that is not like others.

        Raises:
            Refusal: as `judge` does, or as `parse` does.
        """
        return self._at_a_glance(raw, version) or self._read(raw, parse(raw), version)

    def _at_a_glance(self, raw: bytes, version: str) -> Said | None:
        found = None if self._glance is None else self._glance.read(raw)
        if found is None:
            return None
        key, parts, labels = found
        settled = self._settling.known((key, parts.decided), parts.day)
        if settled is None:
            return None
        template = settled.digests.get(parts.present)
        if template is None or not template.usable:
            return None
        return self._by_form(settled, parts, template.digest(parts.texts), labels, version)

    def _read(self, raw: bytes, document: Any, version: str) -> Said:
        parted = self._parted(document)
        if self._glance is not None and parted is not None:
            labels = document.get("labels") or {}
            said = self._by_form(parted.settled, parted.parts, parted.digest, labels, version)
            if said is not None:
                self._glance.learn(raw, document, parted.key)
                return said
        judged, digest = self._evaluated(document, parted)
        text = answer_text(
            judged.evaluation,
            profile=judged.profile,
            version=version,
            request_digest=digest,
            labels=judged.labels,
        )
        return Said(text, judged.evaluation.verdict, judged.profile)

    def _parted(self, document: Any) -> _Parted | None:
        """None: a request that is not as usual. Raises: Refusal, as `judge` does."""
        parting = self._parting
        if parting is None or not isinstance(document, dict):
            return None
        try:
            common, parts = parting.part(document)
            key, settled = self._settled(document, common, parts)
        except (Odd, SenseError):
            return None
        return _Parted(key, parts, settled, _digest(self._kind, document, parting, settled, parts))

    def _evaluated(self, document: Any, parted: _Parted | None) -> tuple[Judged, str]:
        if parted is not None and self._parting is not None:
            try:
                values = self._parting.values(parted.parts.readings)
                evaluation = parted.settled.prepared.evaluation(*values)
            except (Odd, SenseError):
                pass
            else:
                labels = document.get("labels") or {}
                return Judged(labels, parted.settled.profile, evaluation), parted.digest
        judged = judge(self._kind, document, self._at_hand.find)
        return judged, request_digest(document, self._kind.slug)

    def _by_form(
        self, settled: Settled, parts: Parts, digest: str, labels: Mapping[str, str], version: str
    ) -> Said | None:
        """What stands in an answer beside its numbers is mostly that of an earlier one."""
        assert self._parting is not None and self._writer is not None  # noqa: S101, PT018
        writer = settled.writers.get(version)
        if writer is None:
            form_of = partial(AnswerForm, profile=settled.profile, version=version)
            writer = settled.writers[version] = self._writer(settled.prepared, form_of)
        try:
            found = self._formed(writer, parts.readings)
        except (Odd, SenseError):
            return None
        if found is None:
            return None
        form, numbers, verdict = found
        return Said(form.filled(numbers, digest, labels), verdict, settled.profile)

    def _form(self, writer: Writer, readings: Texts) -> Formed | None:
        assert self._parting is not None  # noqa: S101
        return writer.form(*self._parting.values(readings))

    def _settled(
        self, document: dict[str, Any], common: dict[str, Any], parts: Parts
    ) -> tuple[str, Settled]:
        """The text of what the request has in common with others, and what it was settled to."""
        # The quickest text that is another one wherever the digest can be.
        text = repr(common)
        if len(text) > _LONGEST:
            raise Odd
        key, settling = (text, parts.decided), self._settling
        settled = settling.known(key, parts.day)
        if settled is None:
            settled = settling.settle(self._kind, document, key, parts.day)
            self._kept += len(text)
            if self._kept > _TOGETHER:
                self._settling, self._kept = Settling(self._at_hand), 0
                # Numbers hold what wrote them, with all that was settled for it.
                self._formed.cache_clear()
        return text, settled


def _digest(
    kind: Kind, document: dict[str, Any], parting: Parting, settled: Settled, parts: Parts
) -> str:
    template = settled.digests.get(parts.present)
    if template is None:
        template = settled.digests[parts.present] = parting.template(document, parts)
    return template.digest(parts.texts) if template.usable else request_digest(document, kind.slug)
