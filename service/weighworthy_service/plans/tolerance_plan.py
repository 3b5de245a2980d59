"""The tightest honest tolerances of span, linearity points and simulated loss on one balance."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.answer import number
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.checks.rehearsal import Loads
from weighworthy_service.checks.terms import Terms
from weighworthy_service.plans.asking import (
    LOSS,
    LOSS_ERROR,
    PLANNED,
    POINT_ERROR,
    SPAN_ERROR,
    ZERO_RETURN,
    assumed_of,
    refuse_unplannable,
)
from weighworthy_service.plans.rehearsed import Rehearsed, budget_json, chances_json, rehearsed_at
from weighworthy_service.plans.tightest import (
    Honest,
    Tightest,
    swallows,
    tightest,
    weights_error,
)
from weighworthy_service.plans.weight_classes import OfClass, advice, by_class
from weighworthy_service.plans.words import Assumed, amount, chance, exact, frame, plain
from weighworthy_service.profiles.chances import false_acceptance, false_rejection, passed

KINDS: Final = {kind.slug: kind for kind in PLANNED}
_PLANNED: Final = (SPAN_ERROR, ZERO_RETURN, POINT_ERROR, LOSS_ERROR)
# Each takes some tenths of a second with its table of classes.
MAX_LOADS: Final = 12


@dataclass(frozen=True, slots=True)
class ToleranceAsked:
    """What is asked; `loads` and `wanted` (T in g or %) by kind of check, `named` all loads with
    their paths in the request."""

    circumstances: Circumstances
    terms: Terms
    loads: Mapping[str, Loads]
    named: Sequence[tuple[tuple[str | int, ...], Sequence[str]]]
    wanted: Mapping[str, Decimal]
    honest: Honest
    stated: frozenset[str]


def tolerance_plan(asked: ToleranceAsked, version: str) -> dict[str, Any]:
    """The answer. Raises: SenseError, when something is wrong with balance, weights or loads."""
    refuse_unplannable(asked.circumstances, asked.named)
    refuse_if_any(_flaws(asked))
    rows = [
        _row(one, loads, asked)
        for slug, loads in asked.loads.items()
        for one in rehearsed_at(
            ("loads", slug), KINDS[slug], asked.circumstances, loads, asked.terms
        )
        if one.name.name in _PLANNED and (one.load or not one.name.has_load)
    ]
    # The zero takes part in every span check alike.
    told = list({(row["criterion"], *row["put_on"]): row for row in rows}.values())
    return frame(
        "tolerance",
        version,
        _assumed(asked),
        ratio=number(asked.honest.ratio),
        false_rejection_at_most=number(asked.honest.false_rejection),
        weights_share=number(asked.honest.weights),
        decision_rule=asked.terms.decision.rule,
        coverage=number(asked.terms.decision.coverage),
        tolerances=told,
        because=[
            (
                "A tolerance is honest here if it is at least the asked multiple of the expanded "
                "uncertainty, its guard band at most half of it, rounding alone cannot break it, "
                "the "
                "weights take at most their share, and a balance without error is rejected no more "
                "often than asked. The tightest is the smallest of two digits with all of that."
            ),
            "It tells what the check can hold, not what the product needs: that is another plan.",
        ],
    )


def _flaws(asked: ToleranceAsked) -> Iterator[Flaw]:
    count = sum(1 if slug == LOSS.slug else len(x) for slug, x in asked.loads.items())
    if not count:
        yield Flaw(("loads",), "required", "name the weights of at least one check")
    for slug in asked.wanted:
        if slug not in asked.loads:
            said = f"a tolerance is wanted of {slug}, but loads names no weights for it"
            yield Flaw(("wanted", slug), "nothing-to-plan", said)
    if count > MAX_LOADS:
        yield Flaw(("loads",), "too-many", f"at most {MAX_LOADS} loads are planned at once")


def _assumed(asked: ToleranceAsked) -> Iterator[Assumed]:
    loads = asked.loads.get(LOSS.slug)
    hot = loads is not None and loads.heating is not False
    yield from assumed_of(asked.circumstances.instrument, hot=hot)
    taken = {
        "ratio": ("3", "from here on simple acceptance seldom errs (JCGM 106, 8)"),
        "false_rejection": ("1 %", "a check that good balances fail more often is not believed"),
        "weights_share": (
            "1/3",
            (
                "what USP <41> asks of the weight of its accuracy test, and OIML R 76-1, 3.7.1, of "
                "those of a verification (secondary text; from memory)"
            ),
        ),
        "decision": ("simple, 95.45 %", "the value itself against the limits, k = 2"),
    }
    for field, (value, because) in taken.items():
        if field not in asked.stated:
            yield Assumed(f"/{field}", value, because)


def _row(of: Rehearsed, loads: Loads, asked: ToleranceAsked) -> dict[str, Any]:
    unit = of.name.unit
    wanted = asked.wanted.get(of.kind.slug) if of.name.name != ZERO_RETURN else None
    error = weights_error(of, loads)
    found = tightest(of, asked.honest, error)
    classes = by_class(of, loads, asked.honest) if error else []
    largest, part = of.largest_part
    return {
        "check": of.kind.slug,
        "criterion": of.name.name,
        "put_on": _weights(of, loads),
        "stay": list(loads.final) if of.kind is LOSS else None,
        "load": number(of.criterion.load),
        "unit": unit,
        "within": None if found is None else number(found.within),
        "limit": None if found is None else {"within": exact(found.within, unit)},
        "limited_by": None if found is None else found.limited_by,
        "floors": []
        if found is None
        else [
            {
                "condition": one.condition,
                "least": number(one.least),
                "because": one.because,
            }
            for one in found.floors
        ],
        "expanded_uncertainty": number(of.expanded),
        "coverage_factor": number(of.criterion.coverage_factor),
        "degrees_of_freedom": number(of.criterion.degrees_of_freedom),
        "weights_error": number(error),
        "largest_part": {"source": largest.source, "share": number(part)},
        "budget": budget_json(of),
        **_at(of, found),
        "wanted": number(wanted),
        "wanted_is_honest": None if wanted is None else _is_honest(of, found, wanted),
        "classes": [_class(one, wanted) for one in classes],
        **_buy(of, classes, wanted),
        "void_by": [*of.void_by, *_swallowed(of, found)],
        "because": list(_because(of, found, wanted)),
    }


def _is_honest(of: Rehearsed, found: Tightest | None, wanted: Decimal) -> bool:
    return found is not None and wanted >= found.within and not swallows(of, wanted)


def _swallowed(of: Rehearsed, found: Tightest | None) -> Iterator[str]:
    if found is not None and swallows(of, found.within):
        yield f"{_no_larger(of, found.within)}; no such {of.kind.slug} check can pass"


def _no_larger(of: Rehearsed, half: Decimal) -> str:
    loss, limit = amount(Fraction(of.results["expected_loss"]), "%"), exact(half, "%")
    return (
        f"the expected loss, {loss}, is no larger than {limit}: showing no loss at all would pass"
    )


def _weights(of: Rehearsed, loads: Loads) -> list[str]:
    if of.kind is LOSS:
        return list(loads.initial)
    return list(of.load) if of.name.has_load else []


def _at(of: Rehearsed, found: Tightest | None) -> dict[str, Any]:
    if found is None:
        return {
            "tolerance_to_uncertainty": None,
            "false_rejection": None,
            "false_acceptance_at_limit": None,
            "false_acceptance": None,
        }
    chances = of.acceptance(found.interval)
    half = Fraction(found.within)
    return {
        "tolerance_to_uncertainty": number(half / Fraction(of.expanded)),
        "false_rejection": chances_json(false_rejection(chances)),
        "false_acceptance_at_limit": chances_json(passed(chances, float(half))),
        "false_acceptance": {
            "error": number(half * 3 / 2),
            **chances_json(false_acceptance(chances, found.interval)),
        },
    }


def _class(one: OfClass, wanted: Decimal | None) -> dict[str, Any]:
    found = one.found
    return {
        "weight_class": one.weight_class,
        "within": None if found is None else number(found.within),
        "limited_by": None if found is None else found.limited_by,
        "reaches_wanted": None if wanted is None else found is not None and found.within <= wanted,
    }


def _buy(of: Rehearsed, classes: list[OfClass], wanted: Decimal | None) -> dict[str, Any]:
    if not of.name.has_load and of.kind is not LOSS:
        return {"buy": None, "buy_because": "No weight takes part in it."}
    weight_class, because = advice(of, classes, wanted)
    return {"buy": weight_class, "buy_because": because}


def _because(of: Rehearsed, found: Tightest | None, wanted: Decimal | None) -> Iterator[str]:
    unit = of.name.unit
    largest, part = of.largest_part
    if found is None:
        yield "No tolerance up to a hundred times these floors rejects good balances so seldom."
        return
    deciding = next(one for one in found.floors if one.condition == found.limited_by)
    yield f"{exact(found.within, unit)}: {deciding.because}"
    if found.limited_by != "false-rejection":
        said = "There a balance without error is rejected with a chance of"
        yield f"{said} {chance(found.rejection)}."
    if found.limited_by != "weights":
        yield (
            f"Behind it stands above all {largest.source}: {amount(largest.contribution, unit)}, "
            f"{amount(part * 100, '%', 2)} of the variance."
        )
    if wanted is not None:
        ratio = plain(Fraction(wanted) / Fraction(of.expanded), 3)
        honest = _is_honest(of, found, wanted)
        verdict = "is honest" if honest else "is not honest with these weights"
        why = f": {_no_larger(of, wanted)}" if swallows(of, wanted) else ""
        yield f"The wanted {exact(wanted, unit)} is {ratio} times U and {verdict}{why}."
