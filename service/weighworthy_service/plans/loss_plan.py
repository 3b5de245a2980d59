"""Which weights to put on and which to lift off: simulated losses ranked for one balance."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.answer import jsonable, number
from weighworthy_service.checks.circumstances import Circumstances
from weighworthy_service.checks.flaws import Flaw, refuse_if_any
from weighworthy_service.checks.terms import StartWindow, Terms
from weighworthy_service.metrology.quantity import EXACT
from weighworthy_service.plans.asking import LOSS_ERROR, assumed_of, refuse_unplannable
from weighworthy_service.plans.combinations import (
    MAX_COMBINATIONS,
    Aim,
    Combination,
    Found,
    search,
)
from weighworthy_service.plans.loss_options import Option, Wanted, option
from weighworthy_service.plans.rehearsed import budget_json, chances_json
from weighworthy_service.plans.words import (
    Assumed,
    amount,
    amount_up,
    chance,
    exact,
    frame,
    load,
    plain,
)
from weighworthy_service.wire.plans import MAX_OWNED

DEFAULT_RATIO: Final = Decimal(3)
DEFAULT_REJECTION: Final = Decimal(1)
DEFAULT_SHOWN: Final = 5
# Budgets take some 0.7 ms each, chances some 50 ms: a search answers within seconds.
MAX_EVALUATED: Final = 500
MAX_JUDGED: Final = 40
_MISSES: Final = 3
RANKING: Final = (
    "combinations that have all that is asked come first, the others are told as misses",
    "then the nominal loss nearest to the wanted one, where one is wanted",
    "then the largest ratio of tolerance to expanded uncertainty",
    "then the fewest weights on the pan, then the fewest lifted off, then their names",
    (
        "left out is what another shown one equals or betters in all of: loss (as near to the "
        "wanted "
        "one; where none is wanted, only the same loss), ratio, smallest change of zero that "
        "shows, "
        "number of weights"
    ),
)


@dataclass(frozen=True, slots=True)
class LossAsked:
    """What is asked of a plan of simulated losses; `terms`: with limit, decision and window."""

    circumstances: Circumstances
    terms: Terms
    profile: dict[str, Any] | None
    aim: Aim
    most: int
    shown: int
    needs: Wanted
    stated: frozenset[str]


def loss_plan(asked: LossAsked, version: str) -> dict[str, Any]:
    """The answer.

    Raises:
        SenseError: something is wrong with balance or weights; no window, no limit is stated.
    """
    here, terms = asked.circumstances, asked.terms
    refuse_unplannable(here)
    window = terms.start_window
    refuse_if_any(_flaws(asked))
    assert window is not None  # noqa: S101  refused above
    found = search(here.weights, window, asked.most, asked.aim)
    options, lost = _evaluated(asked, found.combinations)
    kept, misses, judged = _best(options, asked)
    return frame(
        "simulated-loss",
        version,
        _assumed(asked),
        profile=asked.profile,
        tolerance=_tolerance(asked, options),
        start_window={"target": number(window.target), "allowance": number(window.allowance)},
        basis=asked.needs.basis,
        heating=asked.needs.heating,
        wanted_loss=number(asked.aim.wanted),
        ranking=list(RANKING),
        search=_search(asked, found, judged, lost),
        options=[_shown(one, rank) for rank, one in enumerate(kept, start=1)],
        misses=[_shown(one, None) for one in misses],
        because=list(_overall(asked, window, found, kept)),
    )


def _flaws(asked: LossAsked) -> Iterator[Flaw]:
    if asked.terms.start_window is None:
        said = "between which masses must a run begin? Neither request nor profile says so"
        yield Flaw(("start_window",), "required", said)
    if LOSS_ERROR not in asked.terms.limits:
        said = "state the tolerance that the check is to hold, or a profile with a limit for it"
        yield Flaw(("within",), "required", said)


def _evaluated(
    asked: LossAsked, combinations: Sequence[Combination]
) -> tuple[list[Option], Sequence[str]]:
    """Options of the first combinations, best first, and why others are none."""
    found = [
        option(one, asked.circumstances, asked.terms, asked.needs)
        for one in combinations[:MAX_EVALUATED]
    ]
    options = sorted((one for one in found if isinstance(one, Option)), key=_rank)
    return options, [one for one in found if isinstance(one, str)]


def _rank(one: Option) -> tuple[Any, ...]:
    mine = one.combination
    return (mine.distance, -one.ratio, len(mine.initial), len(mine.removed), mine.initial)


def _best(options: Sequence[Option], asked: LossAsked) -> tuple[list[Option], list[Option], int]:
    """Those that have all that is asked, the best that have not, and how many were judged."""
    any_loss = asked.aim.wanted is None
    kept: list[Option] = []
    misses: list[Option] = []
    judged = 0
    for one in options:
        if len(kept) == asked.shown or judged == MAX_JUDGED:
            break
        if any(one.no_better_than(other, any_loss=any_loss) for other in kept):
            continue
        judged += 1
        if not one.short_of:
            kept.append(one)
        elif not any(one.no_better_than(other, any_loss=any_loss) for other in misses):
            misses.append(one)
    return kept, misses[:_MISSES], judged


def _assumed(asked: LossAsked) -> Iterator[Assumed]:
    yield from assumed_of(asked.circumstances.instrument, hot=asked.needs.heating is not False)
    taken = {
        "basis": ("wet", "a loss is usually told as a share of the initial mass"),
        "ratio": (plain(DEFAULT_RATIO), "from here on simple acceptance seldom errs (JCGM 106, 8)"),
        "false_rejection": (
            f"{DEFAULT_REJECTION} %",
            "a check that good balances fail more often is not believed (common practice)",
        ),
        "weights_on_pan": (str(asked.most), "more weights take longer and add their uncertainty"),
        "loss_allowance": (
            "half of the wanted loss",
            "a loss farther off is no longer like the one that is wanted",
        ),
        "off_by": ("1.5 tolerances", "as a review of profiles has it"),
        "decision": ("simple, 95.45 %", "the value itself against the limits, k = 2"),
    }
    if asked.profile is not None:
        del taken["decision"]
    if asked.aim.wanted is None:
        del taken["loss_allowance"]
    for field, (value, because) in taken.items():
        if field not in asked.stated:
            yield Assumed(f"/{field}", value, because)
    if asked.needs.heating is None:
        yield Assumed("/heating", "counted as hot", "not stated: what is stated of heat counts")


def _tolerance(asked: LossAsked, options: Sequence[Option]) -> dict[str, Any]:
    decision = asked.terms.decision
    interval = options[0].interval if options else None
    return {
        "lower_limit": None if interval is None else number(interval.lower),
        "upper_limit": None if interval is None else number(interval.upper),
        "unit": "%",
        "decision_rule": decision.rule,
        "guard_factor": None if decision.rule == "simple" else number(decision.guard_factor),
        "coverage": number(decision.coverage),
    }


def _search(asked: LossAsked, found: Found, judged: int, lost: Sequence[str]) -> dict[str, Any]:
    many = len(found.combinations)
    left_out = [
        f"starts with more than {asked.most} weights on the pan",
        "losses in which a weight is put on instead of another (swapped)",
        "losses of everything on the pan: something must stay",
    ]
    if found.alike:
        left_out.append(
            f"combinations that differ in names alone: {found.alike} of the weights are like "
            "another one in all that is stated of them"
        )
    if not found.whole:
        left_out.append(
            f"sets of weights after the first {found.looked_at}, fewest weights first: those in "
            f"the window make {MAX_COMBINATIONS} combinations already"
        )
    if many > MAX_EVALUATED:
        left_out.append(
            f"{many - MAX_EVALUATED} of {many} combinations, those farthest from the wanted loss "
            "and "
            f"with most weights: at most {MAX_EVALUATED} budgets are reckoned"
        )
    for why, times in Counter(lost).most_common(_MISSES):
        left_out.append(f"{times} combination{'s' if times > 1 else ''}: {why}")
    if judged == MAX_JUDGED:
        left_out.append(f"all after the best {MAX_JUDGED} whose chances were reckoned")
    return {
        "weights": len(asked.circumstances.weights),
        "most_owned": MAX_OWNED,
        "weights_on_pan": asked.most,
        "starts_looked_at": found.looked_at,
        "starts_in_window": found.in_window,
        "combinations": many,
        "evaluated": min(many, MAX_EVALUATED),
        "judged": judged,
        "left_out": left_out,
    }


def _shown(one: Option, rank: int | None) -> dict[str, Any]:
    of, mine = one.of, one.combination
    largest, part = of.largest_part
    counts = not of.void_by
    return {
        "rank": rank,
        "put_on": list(mine.initial),
        "lift_off": list(mine.removed),
        "stay": list(mine.staying),
        "initial_mass": number(of.results["initial_mass"]),
        "final_mass": number(of.results["final_mass"]),
        "expected_loss": number(of.results["expected_loss"]),
        "expanded_uncertainty": number(of.expanded),
        "coverage_factor": number(of.criterion.coverage_factor),
        "tolerance_to_uncertainty": number(one.ratio),
        "false_rejection": chances_json(one.rejection) if counts else None,
        "false_acceptance_at_limit": chances_json(one.acceptance_at_limit) if counts else None,
        "false_acceptance": {"error": number(one.off_by), **chances_json(one.acceptance_off)}
        if counts
        else None,
        "largest_part": {"source": largest.source, "share": number(part)},
        "budget": budget_json(of),
        "reveals": jsonable(of.results["reveals"]),
        "short_of": one.short_of,
        "because": list(_because(one)),
    }


def _because(one: Option) -> Iterator[str]:
    of, mine = one.of, one.combination
    expected, half = of.results["expected_loss"], one.ratio * Fraction(of.expanded)
    yield (
        f"Put on {load(mine.initial)}, lift off {load(mine.removed)}: "
        f"{load(mine.staying)} stays, and the loss is {amount(expected, '%', 6)}."
    )
    if mine.distance:
        yield f"That is {amount(mine.distance, '%')} from the wanted loss, by nominal masses."
    yield (
        f"The tolerance of {amount(half, '%')} is {plain(one.ratio, 3)} times U = "
        f"{exact(of.expanded, '%')}."
    )
    if not of.void_by:
        yield (
            f"A balance without error is rejected with a chance of "
            f"{chance(one.rejection.all_sets)}; one that is just at the limit is accepted with "
            f"{chance(one.acceptance_at_limit.all_sets)}, one off by {amount(one.off_by, '%')} "
            f"with {chance(one.acceptance_off.all_sets)}."
        )
    if one.zero_change is not None:
        yield (
            f"It shows a change of zero from {amount_up(one.zero_change, 'g', 2)} upwards with "
            "95 % probability."
        )
    row, part = of.largest_part
    yield f"Most of the uncertainty, {amount(part * 100, '%', 2)} of the variance, is {row.source}."


def _overall(
    asked: LossAsked, window: StartWindow, found: Found, kept: Sequence[Option]
) -> Iterator[str]:
    low = EXACT.subtract(window.target, window.allowance)
    high = EXACT.add(window.target, window.allowance)
    if not found.in_window:
        yield (
            f"No set of at most {asked.most} of the weights lies between {exact(low, 'g')} and "
            f"{exact(high, 'g')}: other weights, another window, or more weights on the pan."
        )
    elif not found.combinations:
        yield "No part of a set in the window can be lifted off with a loss near the wanted one."
    elif not kept:
        yield "No combination has all that is asked; the nearest are among the misses, with why."
    else:
        best = kept[0].combination
        yield f"Best by the ranking: {load(best.initial)}, of which {load(best.removed)} comes off."
    if asked.aim.wanted is None:
        yield (
            "No loss is wanted, so the ratio decides, which is largest where nearly all comes off: "
            "state the typical moisture as wanted_loss for checks that are like the product."
        )
    yield (
        "A constant gain error cancels in a loss: none of these replaces a span check, and a cold "
        "run does not show what heat does."
    )
