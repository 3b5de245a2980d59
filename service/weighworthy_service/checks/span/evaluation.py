"""Evaluation of a span check: one load against its zero, in rounds.

Error of indication E = (I - Z) - Σm (EURAMET cg-18 v4.0, 6 and 7; from memory).
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.conclusion import in_order, nothing_judged
from weighworthy_service.checks.contributions import digitisation, repeatability, weights_allowance
from weighworthy_service.checks.held import Standard, Subject
from weighworthy_service.checks.judging import (
    Ground,
    Judged,
    decided_within,
    judge_value,
    missing,
)
from weighworthy_service.checks.outcome import CriterionName, Evaluation, Finding
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.span.agreement import SPAN_AGREEMENT, agreements
from weighworthy_service.checks.span.check import SpanCheck
from weighworthy_service.checks.span.rounds import RoundRead, round_rows
from weighworthy_service.checks.span.stages import Part, verdicts
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import (
    Observed,
    count_findings,
    reading_findings,
    sitting_findings,
)
from weighworthy_service.metrology.budget import combine
from weighworthy_service.metrology.quantity import EXACT

SPAN_ERROR: Final = CriterionName("span_error", "g", has_load=True, on_grid=True)
ZERO_RETURN: Final = CriterionName("zero_return", "g", on_pan=False, on_grid=True)
CRITERIA: Final = (SPAN_ERROR, ZERO_RETURN, SPAN_AGREEMENT)


def evaluate(check: SpanCheck, terms: Terms) -> Evaluation:
    """Judge every round that is no adjustment, zero returns, and the agreement of rounds."""
    rounds = [RoundRead(check, i) for i, r in enumerate(check.rounds) if r.stage != "adjustment"]
    errors, returns = _span_errors(rounds, terms), _zero_returns(rounds, terms)
    agreed = agreements(rounds, terms)
    parts = [
        *(Part.of(judged, {r.index}) for judged, r in zip(errors, rounds, strict=True)),
        *(Part.of(judged, {r.index}) for judged, r in zip(returns, rounds, strict=True)),
        *agreed.parts,
        *(
            Part.of_findings(_round_findings(r, e, terms), {r.index})
            for r, e in zip(rounds, errors, strict=True)
        ),
        Part.of_findings(_sitting_findings(check, rounds, terms), None),
    ]
    said = verdicts(check.rounds, parts)
    criteria = [judged.criterion for judged in (*errors, *returns, agreed.worst)]
    found = [finding for part in parts for finding in part.findings]
    found += nothing_judged(said.verdict, said.if_valid)
    return Evaluation(
        check="span",
        verdict=said.verdict,
        verdict_as_found=said.as_found,
        verdict_as_left=said.as_left,
        verdict_if_valid=said.if_valid,
        usable=terms.lets_use(said.verdict),
        criteria=tuple(criteria),
        results={
            "rounds": [r.as_result() for r in rounds],
            "change_by_adjustment": _change_by_adjustment(rounds),
            "agreements": agreed.results,
            "verdict_as_found_if_valid": said.as_found_if_valid,
        },
        findings=in_order([*found, *said.findings]),
    )


def _span_errors(rounds: Sequence[RoundRead], terms: Terms) -> list[Judged]:
    """Each judged round; what rests on load and stage alone is worked out once for them."""
    known: dict[tuple[tuple[str, ...], str, bool], Ground] = {}
    judged = []
    for r in rounds:
        stage, of_stage, here = r.round.stage, terms.at(r.round.stage), r.circumstances
        shared = (r.round.load, stage, r.adjusted)
        if shared not in known:
            known[shared] = Ground(
                combine(round_rows(r, terms), of_stage.decision.coverage),
                weights_allowance(r.effects, here),
                Standard(SPAN_ERROR, r.load, of_stage, here),
            )
        subject = Subject(
            key=f"span_error[{r.index}]",
            weights_error=known[shared].weights_error,
            load=r.load,
            index=r.index,
            stage=stage,
            place=("rounds", r.index),
        )
        judged.append(judge_value(SPAN_ERROR, subject, r.error, of_stage, known[shared]))
    return judged


def _zero_returns(rounds: Sequence[RoundRead], terms: Terms) -> list[Judged]:
    known: dict[str, Ground] = {}
    judged = []
    for r in rounds:
        stage, of_stage = r.round.stage, terms.at(r.round.stage)
        key, place = f"zero_return[{r.index}]", ("rounds", r.index, "zero_after")
        if r.zero_return is None:
            none = missing(ZERO_RETURN, of_stage, key, place, index=r.index, stage=stage)
            judged.append(none)
            continue
        if stage not in known:
            instrument = r.circumstances.instrument
            rows = [
                *digitisation("zero readings", instrument, [1, -1]),
                *repeatability(instrument, [1]),
            ]
            known[stage] = Ground(
                combine(rows, of_stage.decision.coverage),
                Fraction(0),
                Standard(ZERO_RETURN, None, of_stage, r.circumstances),
            )
        subject = Subject(key, Fraction(0), index=r.index, stage=stage, place=place)
        judged.append(judge_value(ZERO_RETURN, subject, r.zero_return, of_stage, known[stage]))
    return judged


def _round_findings(r: RoundRead, span_error: Judged, terms: Terms) -> list[Finding]:
    place = ("rounds", r.index)
    readings = [("zero", r.zero), ("indication", r.indication), ("zero_after", r.round.zero_after)]
    observed = [
        Observed((*place, name), value, place, r.round.stable)
        for name, value in readings
        if value is not None
    ]
    found = list(reading_findings(observed, r.circumstances, terms))
    criterion, tolerance = span_error.criterion, span_error.tolerance
    # With zeros that agree both errors are the same one.
    if tolerance is not None and r.error_mean_zero is not None and r.zero_return:
        assert criterion.expanded_uncertainty is not None  # noqa: S101  computed above
        otherwise = decided_within(
            r.error_mean_zero,
            criterion.expanded_uncertainty,
            tolerance,
            terms.at(r.round.stage).decision,
        )
        if otherwise != criterion.verdict:
            message = (
                f"{criterion.key}: against the mean of both zeros the verdict would be {otherwise}"
            )
            found.append(Finding("zero-moved", "warning", message, f"/rounds/{r.index}/zero_after"))
    return found


def _sitting_findings(check: SpanCheck, rounds: list[RoundRead], terms: Terms) -> list[Finding]:
    circumstances = check.circumstances
    used = list(dict.fromkeys(name for r in rounds for name in r.round.load))
    built_up = any(len(r.round.load) > 1 for r in rounds)
    return [
        *sitting_findings(circumstances, used, terms),
        *count_findings(len(rounds), terms.validity.rounds, "rounds", "/rounds"),
        *input_remarks(circumstances, used, built_up=built_up, buoyancy=True),
        *_unjudged(check),
    ]


def _unjudged(check: SpanCheck) -> Iterator[Finding]:
    for i, r in enumerate(check.rounds):
        if r.stage == "adjustment" and r.indication is not None:
            message = "readings of an adjustment are kept and never judged"
            yield Finding("adjustment-not-judged", "note", message, f"/rounds/{i}")


def _change_by_adjustment(rounds: list[RoundRead]) -> dict[str, Any] | None:
    """What adjusting did: first error after it minus last error before it, of one nominal load."""
    for after in rounds:
        before = [r for r in rounds if r.segment < after.segment and r.load == after.load]
        if before:
            last = before[-1]
            change = EXACT.subtract(after.error, last.error)
            return {"from": last.index, "to": after.index, "load": after.load, "change": change}
    return None
