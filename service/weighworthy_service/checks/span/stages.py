"""Which rounds of a span check speak for what: the state as found, and the state as left."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from weighworthy_service.checks.conclusion import conclude
from weighworthy_service.checks.judging import Judged
from weighworthy_service.checks.outcome import Finding, Verdict
from weighworthy_service.checks.span.check import Round


@dataclass(frozen=True, slots=True)
class Part:
    """A verdict and findings, and the rounds they speak of; None: of all."""

    verdict: Verdict | None
    findings: tuple[Finding, ...]
    rounds: frozenset[int] | None

    @classmethod
    def of(cls, judged: Judged, rounds: Collection[int] | None) -> "Part":
        """The part that one judged criterion plays."""
        of = None if rounds is None else frozenset(rounds)
        return cls(judged.verdict, judged.findings, of)

    @classmethod
    def of_findings(cls, findings: Iterable[Finding], rounds: Collection[int] | None) -> "Part":
        """Findings that belong to no criterion."""
        return cls(None, tuple(findings), None if rounds is None else frozenset(rounds))


@dataclass(frozen=True, slots=True)
class Verdicts:
    """What a span check says: about the time before, about the time after, and as a whole."""

    verdict: Verdict | None
    if_valid: Verdict | None
    as_found: Verdict | None
    as_found_if_valid: Verdict | None
    as_left: Verdict | None
    findings: tuple[Finding, ...] = ()


def verdicts(rounds: Sequence[Round], parts: Sequence[Part]) -> Verdicts:
    """Verdicts by stage.

    With an adjustment, rounds before the first speak for as found and rounds after the last for as
    left. Without, all rounds saw one state and speak for both, an as-left round being a repeat; but
    where no round is as found, nothing is said about the time before.
    """
    before, after = stretches(rounds)
    judged = {i for i, r in enumerate(rounds) if r.stage != "adjustment"}
    as_found, as_found_if_valid = _of(before, parts)
    as_left, as_left_if_valid = _of(after, parts)
    if after:
        return Verdicts(as_left, as_left_if_valid, as_found, as_found_if_valid, as_left)
    finding = Finding(
        "as-left-missing",
        "no-pass",
        "the balance was adjusted and not read again: nothing shows its state from now on",
        f"/rounds/{max(i for i, r in enumerate(rounds) if r.stage == 'adjustment')}",
    )
    whole, if_valid = _of(judged, parts, finding)
    return Verdicts(whole, if_valid, as_found, as_found_if_valid, None, (finding,))


def stretches(rounds: Sequence[Round]) -> tuple[set[int], set[int]]:
    """The judged rounds that speak for as found, and those that do for as left."""
    judged = {i for i, r in enumerate(rounds) if r.stage != "adjustment"}
    adjustments = [i for i, r in enumerate(rounds) if r.stage == "adjustment"]
    before = {i for i in judged if not adjustments or i < adjustments[0]}
    if all(rounds[i].stage != "as-found" for i in before):
        before = set()
    return before, {i for i in judged if not adjustments or i > adjustments[-1]}


def _of(
    group: set[int], parts: Sequence[Part], *more: Finding
) -> tuple[Verdict | None, Verdict | None]:
    if not group:
        return None, None
    mine = [part for part in parts if part.rounds is None or part.rounds & group]
    findings = [finding for part in mine for finding in part.findings]
    return conclude([part.verdict for part in mine], [*findings, *more])
