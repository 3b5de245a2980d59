"""How well rounds of one load agree, in each stretch of a span check without an adjustment."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from typing import Any, Final

from weighworthy_service.checks.contributions import (
    combined,
    error_rows,
    weights_allowance,
)
from weighworthy_service.checks.judging import (
    Computed,
    Judged,
    judge,
    missing,
    most_critical,
    unjudged,
)
from weighworthy_service.checks.outcome import Criterion, CriterionName
from weighworthy_service.checks.span.rounds import RoundRead
from weighworthy_service.checks.span.stages import Part
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import EXACT

SPAN_AGREEMENT: Final = CriterionName("span_agreement", "g", on_grid=True, magnitude=True)


@dataclass(frozen=True, slots=True)
class Agreements:
    """The criterion of the worst group, the parts each plays, and all groups for `results`."""

    worst: Judged
    parts: list[Part]
    results: list[dict[str, Any]]


def agreements(rounds: list[RoundRead], terms: Terms) -> Agreements:
    """Largest minus smallest error of one nominal load, in each run without an adjustment."""

    def alike(r: RoundRead) -> tuple[int, Decimal]:
        return r.segment, r.load

    judged: list[Judged] = []
    parts: list[Part] = []
    results: list[dict[str, Any]] = []
    for _, group in groupby(sorted(rounds, key=alike), key=alike):
        members = list(group)
        if len(members) > 1:
            judged.append(_agreement_of(members, terms))
            parts.append(Part.of(judged[-1], {r.index for r in members}))
            results.append(_as_result(members, judged[-1]))
    for stage_rounds in _unrepeated(rounds, parts):
        stage = stage_rounds[-1].round.stage
        none = missing(SPAN_AGREEMENT, terms.at(stage), SPAN_AGREEMENT.name, ("rounds",))
        parts.append(Part.of(none, {r.index for r in stage_rounds}))
    none = unjudged(Criterion(SPAN_AGREEMENT.name, SPAN_AGREEMENT.name, "g"))
    return Agreements(most_critical(judged) if judged else none, parts, results)


def _as_result(members: list[RoundRead], judged: Judged) -> dict[str, Any]:
    criterion = judged.criterion
    return {
        "rounds": [r.index for r in members],
        "load": criterion.load,
        "value": criterion.value,
        "verdict": criterion.verdict,
    }


def _unrepeated(rounds: list[RoundRead], parts: list[Part]) -> Iterator[list[RoundRead]]:
    """Rounds of each statement, as found and as left, in which no load was read twice."""
    agreed = {index for part in parts for index in part.rounds or ()}
    for segment in sorted({rounds[0].segment, rounds[-1].segment}):
        members = [r for r in rounds if r.segment == segment]
        if not any(r.index in agreed for r in members):
            yield members


def _agreement_of(members: list[RoundRead], terms: Terms) -> Judged:
    high = max(members, key=lambda r: r.error)
    low = min(members, key=lambda r: r.error)
    if high is low:  # all errors equal: the two ends are any two rounds
        low = members[1]
    effects = combined([(1, high.effects), (-1, low.effects)])
    stage = members[-1].round.stage
    of_stage = terms.at(stage)
    computed = Computed(
        key=SPAN_AGREEMENT.name,
        value=EXACT.subtract(high.error, low.error),
        rows=error_rows(
            effects, high.circumstances, of_stage.weights_correlation, adjusted=high.adjusted
        ),
        weights_error=weights_allowance(effects, high.circumstances),
        load=high.load,
        stage=stage,
        place=("rounds",),
    )
    return judge(SPAN_AGREEMENT, computed, of_stage, high.circumstances)
