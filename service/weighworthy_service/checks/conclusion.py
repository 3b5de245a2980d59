"""From judged criteria and findings to the verdict of a check."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, Final

from weighworthy_service.checks.outcome import (
    VERDICTS,
    Criterion,
    Evaluation,
    Finding,
    Verdict,
)
from weighworthy_service.checks.terms import SEVERITIES, Terms

_WOULD_PASS: Final = (None, "pass", "conditional-pass")


def conclude(
    verdicts: Collection[Verdict | None], findings: Collection[Finding]
) -> tuple[Verdict | None, Verdict | None]:
    """(verdict, verdict_if_valid): the worst verdict, unless the check is void.

    A severity of `void` spoils any statement. `no-pass` only forbids a pass: a fail that was found
    stays a fail. The second is None unless the check is void.
    """
    judged = max((v for v in verdicts if v is not None), key=VERDICTS.index, default=None)
    severities = {finding.severity for finding in findings}
    if "void" in severities or ("no-pass" in severities and judged in _WOULD_PASS):
        return "void", judged
    return judged, None


def concluded(
    check: str,
    criteria: Sequence[Criterion],
    results: Mapping[str, Any],
    findings: Collection[Finding],
    terms: Terms,
) -> Evaluation:
    """The evaluation of a check that has one verdict, as found and as left."""
    verdict, if_valid = conclude([criterion.verdict for criterion in criteria], findings)
    return Evaluation(
        check=check,
        verdict=verdict,
        verdict_as_found=verdict,
        verdict_as_left=verdict,
        verdict_if_valid=if_valid,
        usable=terms.lets_use(verdict),
        criteria=tuple(criteria),
        results=results,
        findings=in_order([*findings, *nothing_judged(verdict, if_valid)]),
    )


def nothing_judged(verdict: Verdict | None, if_valid: Verdict | None) -> list[Finding]:
    """The finding that no criterion behind a verdict had a limit: never a pass."""
    if verdict is not None and (verdict != "void" or if_valid is not None):
        return []
    message = "no criterion of this check could be held against a limit of the profile"
    return [Finding("nothing-judged", "warning", message)]


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each finding once, by severity, field and code."""
    return tuple(
        sorted(
            dict.fromkeys(findings),
            key=lambda f: (SEVERITIES.index(f.severity), f.field or "", f.code, f.message),
        )
    )
