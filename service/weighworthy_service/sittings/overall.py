"""What the checks of a sitting come to together: one verdict, and what it rests on."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.conclusion import conclude, in_order
from weighworthy_service.checks.outcome import (
    VERDICTS,
    Criterion,
    Finding,
    Verdict,
    criticality,
)
from weighworthy_service.sittings.disagreeing import disagreeing
from weighworthy_service.sittings.judged import JudgedCheck
from weighworthy_service.sittings.lacking import lacking

FAILING: Final = ("conditional-fail", "fail")
_SPOILS: Final = ("void", "no-pass")
_VOID: Final = Finding("check-void", "no-pass", "")


@dataclass(frozen=True, slots=True)
class Reason:
    """What a verdict rests on: a criterion of a check, or a finding. `index`: of the check."""

    index: int | None
    check: str
    criterion: str | None
    finding: str | None
    verdict: Verdict | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Overall:
    """The verdict of a sitting, and what it rests on."""

    verdict: Verdict | None
    as_found: Verdict | None
    as_left: Verdict | None
    if_valid: Verdict | None
    usable: bool | None
    because: tuple[Reason, ...]
    findings: tuple[Finding, ...]


def overall(judged: Sequence[JudgedCheck]) -> Overall:
    """The worst verdict of all valid checks.

    A void check, and one that an occasion asks for and that is not there, forbid a pass; a fail
    that another check found stays a fail. What a void check would have been shows in `if_valid`.
    """
    missing, findings = lacking(judged)
    ordered = in_order([*findings, *disagreeing(judged)])
    verdict, if_valid = conclude(_valid(j.evaluation.verdict for j in judged), ordered)
    if any(j.evaluation.verdict == "void" for j in judged):
        if_valid = _worst([if_valid, verdict, *(j.evaluation.verdict_if_valid for j in judged)])
    found = list(_as_found(judged))
    left = [j.evaluation.verdict_as_left for j in judged]
    return Overall(
        verdict,
        conclude(_valid(found), [_VOID] if "void" in found else [])[0],
        conclude(_valid(left), ordered)[0],
        if_valid,
        _usable(verdict, judged),
        tuple(_because(verdict, judged, missing)),
        ordered,
    )


def _valid(verdicts: Iterable[Verdict | None]) -> list[Verdict]:
    return [verdict for verdict in verdicts if verdict not in (None, "void")]


def _worst(verdicts: Iterable[Verdict | None]) -> Verdict | None:
    return max(_valid(verdicts), key=VERDICTS.index, default=None)


def _usable(verdict: Verdict | None, judged: Sequence[JudgedCheck]) -> bool | None:
    if verdict is None:
        return None
    each = [j.evaluation.usable for j in judged]
    return verdict != "void" and all(usable is not False for usable in each)


def _as_found(judged: Sequence[JudgedCheck]) -> Iterator[Verdict | None]:
    """Of the checks up to the first in which the balance was adjusted; what follows saw another."""
    for one in judged:
        yield one.evaluation.verdict_as_found
        if one.adjustments:
            return


def _because(
    verdict: Verdict | None, judged: Sequence[JudgedCheck], missing: Iterable[str]
) -> Iterator[Reason]:
    """Of each check that has this verdict the criteria that have it, and all that spoils a pass."""
    for one in judged:
        evaluation, slug = one.evaluation, one.kind.slug
        if evaluation.verdict == "void":
            yield from _of_void(one)
        elif evaluation.verdict is not None and (
            evaluation.verdict == verdict or evaluation.verdict in FAILING
        ):
            deciding = [c for c in evaluation.criteria if c.verdict == evaluation.verdict]
            # What passed passed everywhere: the one with least room stands for all.
            if evaluation.verdict == "pass":
                deciding = [min(deciding, key=criticality)]
            for criterion in deciding:
                sentence = sentence_of(criterion)
                yield Reason(one.index, slug, criterion.key, None, criterion.verdict, sentence)
    for slug in missing:
        sentence = f"no check of the kind {slug} was judged, and the occasion asks for one"
        yield Reason(None, slug, None, "required-check-missing", None, sentence)


def _of_void(one: JudgedCheck) -> Iterator[Reason]:
    for finding in one.evaluation.findings:
        if finding.severity in _SPOILS:
            yield Reason(one.index, one.kind.slug, None, finding.code, "void", finding.message)
    for criterion in one.evaluation.criteria:
        if criterion.verdict in FAILING:
            sentence = f"{sentence_of(criterion)}, in a check that is void"
            yield Reason(one.index, one.kind.slug, criterion.key, None, criterion.verdict, sentence)


def sentence_of(criterion: Criterion) -> str:
    """Value, uncertainty, limits and verdict of a criterion in one line."""
    unit = criterion.unit
    ends = [
        f"{word} {figure(limit)} {unit}"
        for word, limit in (("from", criterion.lower_limit), ("to", criterion.upper_limit))
        if limit is not None
    ]
    return (
        f"{criterion.key} is {figure(criterion.value)} {unit} ± "
        f"{figure(criterion.expanded_uncertainty)} {unit}, limits {' '.join(ends)}: "
        f"{criterion.verdict}"
    )


def figure(value: Decimal | Fraction | float | None) -> str:
    """A number for people, with the digits that answers have and without an exponent."""
    shown = number(value)
    return "none" if shown is None else f"{Decimal(f'{shown:.7g}'):f}"
