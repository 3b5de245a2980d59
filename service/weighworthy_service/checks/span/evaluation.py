"""Evaluation of a span check: one load against its zero, in rounds.

Error of indication E = (I - Z) - Σm (EURAMET cg-18 v4.0, 6 and 7; from memory).
"""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from itertools import groupby
from typing import Any, Final

from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.conclusion import in_order, nothing_judged
from weighworthy_service.checks.contributions import (
    Reading,
    budget_rows,
    buoyancy_rows,
    combined,
    digitisation,
    error_effects,
    repeatability,
    weights_allowance,
)
from weighworthy_service.checks.judging import (
    Computed,
    Judged,
    decided,
    judge,
    missing,
    most_critical,
)
from weighworthy_service.checks.outcome import Criterion, CriterionName, Evaluation, Finding
from weighworthy_service.checks.remarks import input_remarks
from weighworthy_service.checks.span.check import Round, SpanCheck
from weighworthy_service.checks.span.stages import Part, verdicts
from weighworthy_service.checks.terms import Terms
from weighworthy_service.checks.validity import (
    Observed,
    count_findings,
    reading_findings,
    sitting_findings,
)
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.quantity import EXACT

SPAN_ERROR: Final = CriterionName("span_error", "g", has_load=True)
ZERO_RETURN: Final = CriterionName("zero_return", "g", on_pan=False)
SPAN_AGREEMENT: Final = CriterionName("span_agreement", "g")
CRITERIA: Final = (SPAN_ERROR, ZERO_RETURN, SPAN_AGREEMENT)

_ONE: Final = Fraction(1)


def evaluate(check: SpanCheck, terms: Terms) -> Evaluation:
    """Judge every round that is no adjustment, zero returns, and the agreement of rounds."""
    rounds = [_RoundRead(check, i) for i, r in enumerate(check.rounds) if r.stage != "adjustment"]
    errors = [_span_error(r, terms) for r in rounds]
    returns = [_zero_return(r, terms) for r in rounds]
    agreement, agreements = _agreement(rounds, terms)
    parts = [
        *(Part.of(judged, {r.index}) for judged, r in zip(errors, rounds, strict=True)),
        *(Part.of(judged, {r.index}) for judged, r in zip(returns, rounds, strict=True)),
        *agreements,
        *(
            Part.of_findings(_round_findings(r, e, terms), {r.index})
            for r, e in zip(rounds, errors, strict=True)
        ),
        Part.of_findings(_sitting_findings(check, rounds, terms), None),
    ]
    said = verdicts(check.rounds, parts)
    criteria = [judged.criterion for judged in (*errors, *returns, agreement)]
    found = [finding for part in parts for finding in part.findings]
    found += nothing_judged(said.verdict, said.if_valid)
    return Evaluation(
        check="span",
        verdict=said.verdict,
        verdict_as_found=said.as_found,
        verdict_as_left=said.as_left,
        verdict_if_valid=said.if_valid,
        usable=None if said.verdict is None else said.verdict in terms.use_on,
        criteria=tuple(criteria),
        results={
            "rounds": [r.as_result() for r in rounds],
            "change_by_adjustment": _change_by_adjustment(rounds),
            "verdict_as_found_if_valid": said.as_found_if_valid,
        },
        findings=in_order([*found, *said.findings]),
    )


class _RoundRead:
    """A judged round with what follows from it exactly."""

    def __init__(self, check: SpanCheck, index: int) -> None:
        r = check.rounds[index]
        assert r.zero is not None  # noqa: S101  SpanCheck refuses judged rounds without readings
        assert r.indication is not None  # noqa: S101
        self.index = index
        self.round: Round = r
        self.circumstances: Circumstances = check.circumstances
        self.segment = sum(1 for other in check.rounds[:index] if other.stage == "adjustment")
        self.adjusted = self.segment > 0 or check.circumstances.occasion == "after-adjustment"
        self.zero, self.indication = r.zero, r.indication
        self.load = check.circumstances.nominal(r.load)
        self.mass = check.circumstances.mass(r.load)
        self.error = EXACT.subtract(EXACT.subtract(self.indication, self.zero), self.mass)
        self.zero_return = None if r.zero_after is None else EXACT.subtract(r.zero_after, self.zero)
        reading = Reading(f"round {index}", self.load, len(r.load))
        self.effects = error_effects(reading, f"zero {index}", r.load)

    @property
    def error_mean_zero(self) -> Decimal | None:
        """The error against the mean of the zeros before and after."""
        if self.zero_return is None:
            return None
        return EXACT.subtract(self.error, EXACT.multiply(self.zero_return, Decimal("0.5")))

    def as_result(self) -> dict[str, Any]:
        return {
            "index": self.index,
            "stage": self.round.stage,
            "load": self.load,
            "mass": self.mass,
            "error": self.error,
            "error_mean_zero": self.error_mean_zero,
            "zero_return": self.zero_return,
        }


def _rows(r: _RoundRead, terms: Terms) -> list[BudgetRow]:
    correlation = terms.at(r.round.stage).weights_correlation
    return [
        *budget_rows(r.effects, r.circumstances, correlation, "g"),
        *buoyancy_rows(r.effects, r.circumstances, adjusted=r.adjusted),
    ]


def _span_error(r: _RoundRead, terms: Terms) -> Judged:
    computed = Computed(
        key=f"span_error[{r.index}]",
        value=r.error,
        rows=_rows(r, terms),
        weights_error=weights_allowance(r.effects, r.circumstances),
        load=r.load,
        index=r.index,
        stage=r.round.stage,
        place=("rounds", r.index),
    )
    return judge(SPAN_ERROR, computed, terms.at(r.round.stage), r.circumstances)


def _zero_return(r: _RoundRead, terms: Terms) -> Judged:
    key = f"zero_return[{r.index}]"
    of_stage = terms.at(r.round.stage)
    place = ("rounds", r.index, "zero_after")
    if r.zero_return is None:
        return missing(ZERO_RETURN, of_stage, key, place, index=r.index, stage=r.round.stage)
    instrument = r.circumstances.instrument
    computed = Computed(
        key=key,
        value=r.zero_return,
        rows=[
            *digitisation("zero readings", instrument, [_ONE, -_ONE]),
            *repeatability(instrument, [_ONE]),
        ],
        weights_error=Fraction(0),
        index=r.index,
        stage=r.round.stage,
        place=place,
    )
    return judge(ZERO_RETURN, computed, of_stage, r.circumstances)


def _agreement(rounds: list[_RoundRead], terms: Terms) -> tuple[Judged, list[Part]]:
    """Largest minus smallest error of one nominal load, in each run without an adjustment."""

    def alike(r: _RoundRead) -> tuple[int, Decimal]:
        return r.segment, r.load

    judged: list[Judged] = []
    parts: list[Part] = []
    for _, group in groupby(sorted(rounds, key=alike), key=alike):
        members = list(group)
        if len(members) > 1:
            judged.append(_agreement_of(members, terms))
            parts.append(Part.of(judged[-1], {r.index for r in members}))
    for stage_rounds in _unrepeated(rounds, parts):
        stage = stage_rounds[-1].round.stage
        none = missing(SPAN_AGREEMENT, terms.at(stage), SPAN_AGREEMENT.name, ("rounds",))
        parts.append(Part.of(none, {r.index for r in stage_rounds}))
    if judged:
        return most_critical(judged), parts
    return Judged(Criterion(SPAN_AGREEMENT.name, SPAN_AGREEMENT.name, "g"), ()), parts


def _unrepeated(rounds: list[_RoundRead], parts: list[Part]) -> Iterator[list[_RoundRead]]:
    """Rounds of each statement, as found and as left, in which no load was read twice."""
    agreed = {index for part in parts for index in part.rounds or ()}
    for segment in sorted({rounds[0].segment, rounds[-1].segment}):
        members = [r for r in rounds if r.segment == segment]
        if not any(r.index in agreed for r in members):
            yield members


def _agreement_of(members: list[_RoundRead], terms: Terms) -> Judged:
    high = max(members, key=lambda r: r.error)
    low = min(members, key=lambda r: r.error)
    if high is low:  # all errors equal: the two ends are any two rounds
        low = members[1]
    effects = combined([(_ONE, high.effects), (-_ONE, low.effects)])
    stage = members[-1].round.stage
    of_stage = terms.at(stage)
    computed = Computed(
        key=SPAN_AGREEMENT.name,
        value=EXACT.subtract(high.error, low.error),
        rows=[
            *budget_rows(effects, high.circumstances, of_stage.weights_correlation, "g"),
            *buoyancy_rows(effects, high.circumstances, adjusted=high.adjusted),
        ],
        weights_error=weights_allowance(effects, high.circumstances),
        load=high.load,
        stage=stage,
        place=("rounds",),
    )
    return judge(SPAN_AGREEMENT, computed, of_stage, high.circumstances)


def _round_findings(r: _RoundRead, span_error: Judged, terms: Terms) -> list[Finding]:
    place = ("rounds", r.index)
    readings = [("zero", r.zero), ("indication", r.indication), ("zero_after", r.round.zero_after)]
    observed = [
        Observed((*place, name), value, place, r.round.stable)
        for name, value in readings
        if value is not None
    ]
    found = list(reading_findings(observed, r.circumstances, terms))
    criterion, interval = span_error.criterion, span_error.interval
    if interval is not None and r.error_mean_zero is not None:
        assert criterion.expanded_uncertainty is not None  # noqa: S101  computed above
        otherwise = decided(
            Fraction(r.error_mean_zero),
            criterion.expanded_uncertainty,
            interval,
            terms.at(r.round.stage).decision,
        )
        if otherwise != criterion.verdict:
            message = (
                f"{criterion.key}: against the mean of both zeros the verdict would be {otherwise}"
            )
            found.append(Finding("zero-moved", "warning", message, f"/rounds/{r.index}/zero_after"))
    return found


def _sitting_findings(check: SpanCheck, rounds: list[_RoundRead], terms: Terms) -> list[Finding]:
    circumstances = check.circumstances
    used = list(dict.fromkeys(name for r in rounds for name in r.round.load))
    built_up = any(len(r.round.load) > 1 for r in rounds)
    return [
        *sitting_findings(circumstances, used, terms),
        *count_findings(len(rounds), terms.validity.rounds, "rounds", "/rounds"),
        *input_remarks(circumstances, used, built_up=built_up, buoyancy=True),
    ]


def _change_by_adjustment(rounds: list[_RoundRead]) -> dict[str, Any] | None:
    """What adjusting did: first error after it minus last error before it, of one nominal load."""
    for after in rounds:
        before = [r for r in rounds if r.segment < after.segment and r.load == after.load]
        if before:
            last = before[-1]
            change = EXACT.subtract(after.error, last.error)
            return {"from": last.index, "to": after.index, "load": after.load, "change": change}
    return None
