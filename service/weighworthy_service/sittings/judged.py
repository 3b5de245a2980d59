"""The checks of a sitting, each judged by itself as it would be alone."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weighworthy_service.checks.answer import answer, request_digest
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.kind import Kind
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import Terms
from weighworthy_service.profiles.document import Profile
from weighworthy_service.profiles.judging import Finder, read
from weighworthy_service.profiles.refusal import Refusal, refusal_of
from weighworthy_service.profiles.resolve import terms_for
from weighworthy_service.sittings.asked import Asked, asked_checks, refuse_together
from weighworthy_service.wire.coded import FieldError

_ONE_BALANCE = ("id", "model")


@dataclass(frozen=True, slots=True)
class JudgedCheck:
    """One check of a sitting with all that its verdict rests on."""

    asked: Asked
    check: Any
    labels: Mapping[str, str]
    profile: Profile
    terms: Terms
    evaluation: Evaluation

    @property
    def index(self) -> int:
        """Its position in the sitting."""
        return self.asked.index

    @property
    def kind(self) -> Kind:
        """Its kind."""
        return self.asked.kind

    @property
    def circumstances(self) -> Circumstances:
        """Balance, weights, air and time of this check."""
        here: Circumstances = self.check.circumstances
        return here

    @property
    def valid(self) -> bool:
        """Whether it says anything: neither void nor without any limit."""
        return self.evaluation.verdict not in (None, "void")

    @property
    def adjustments(self) -> int:
        """How many times the balance was adjusted in this check."""
        part = self.kind.part("causes")
        count = getattr(part, "adjustments", None)
        return 0 if count is None else int(count(self.check))

    def answer(self, version: str, *, short: bool = False) -> dict[str, Any]:
        """The answer that this check would get alone."""
        return answer(
            self.evaluation,
            profile=self.terms.profile,
            version=version,
            request_digest=request_digest(self.asked.document, self.kind.slug),
            labels=self.labels,
            short=short,
        )


def judge_all(document: Any, find: Finder) -> tuple[JudgedCheck, ...]:
    """Every check of a sitting, in their order.

    Raises:
        Refusal: as of a single request, every fault at its place in the sitting; `invalid` where
            the checks are of several balances.
    """
    found: list[JudgedCheck] = []
    refusals: list[tuple[int, Refusal]] = []
    for asked in asked_checks(document):
        try:
            found.append(_judged(asked, find))
        except Refusal as refusal:
            refusals.append((asked.index, refusal))
    refuse_together(refusals, document)
    _refuse_several(found)
    return tuple(found)


def judged_again(judged: JudgedCheck, document: dict[str, Any], find: Finder) -> JudgedCheck:
    """The same check of a changed request. Raises: Refusal."""
    return _judged(Asked(judged.index, judged.kind, document), find)


def _judged(asked: Asked, find: Finder) -> JudgedCheck:
    request, profile = read(asked.kind, asked.document, find)
    terms = terms_for(profile, asked.kind.slug, request.check.circumstances)
    evaluation = asked.kind.evaluate(request.check, terms)
    return JudgedCheck(asked, request.check, request.labels, profile, terms, evaluation)


def _refuse_several(found: list[JudgedCheck]) -> None:
    """What one balance shows says nothing of another."""
    first = found[0].circumstances.instrument
    errors = [
        FieldError(
            f"/checks/{judged.index}/instrument/{name}",
            "contradiction",
            "a sitting is of one balance, and this check is of another than the first",
        )
        for judged in found[1:]
        for name in _ONE_BALANCE
        if getattr(judged.circumstances.instrument, name) != getattr(first, name)
    ]
    if errors:
        raise refusal_of("invalid", errors)
