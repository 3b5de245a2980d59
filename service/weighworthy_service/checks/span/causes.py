"""What the rounds of a span check show of causes; see `checks.causes`."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from weighworthy_service.checks.causes import Cause, Dependence, Sight, of_criterion
from weighworthy_service.checks.outcome import Criterion, Evaluation
from weighworthy_service.checks.span.check import SpanCheck
from weighworthy_service.checks.span.evaluation import SPAN_ERROR, ZERO_RETURN
from weighworthy_service.checks.span.rounds import RoundRead
from weighworthy_service.checks.terms import Terms

SEES: Final = ("gain", "zero-change", "weight")


def adjustments(check: SpanCheck) -> int:
    """How many times the balance was adjusted."""
    return sum(1 for r in check.rounds if r.stage == "adjustment")


def sights(check: SpanCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """An error shows gain, weights and the zero alike; the return of the zero only the last."""
    by_key = {criterion.key: criterion for criterion in evaluation.criteria}
    for index, r in enumerate(check.rounds):
        if r.stage == "adjustment":
            continue
        read = RoundRead(check, index)
        error = by_key[f"{SPAN_ERROR.name}[{index}]"]
        for sight in _of_error(check, read, error):
            yield replace(sight, after=read.segment)
        back = by_key[f"{ZERO_RETURN.name}[{index}]"]
        # What moves the zero with every loading has moved it once or twice by then.
        yield from of_criterion(back, Cause("zero-change", "g"), 1, 2)
        # A zero that crept before the load was read goes on creeping, or stays where it is.
        yield from of_criterion(back, _drift(index), 1, 2)
        yield from of_criterion(back, Cause("scatter", "g", unsigned=True), *_once(back))
    agreement = next((c for c in evaluation.criteria if c.index is None), None)
    if agreement is not None:
        k = (agreement.coverage_factor or 2.0) * 2**0.5
        yield from of_criterion(agreement, Cause("scatter", "g", unsigned=True), -k, k)
        load = 2 * float(agreement.load or 0)
        if load:
            cause = Cause("off-centre", "1", unsigned=True)
            yield from of_criterion(agreement, cause, -load, load)
        yield from of_criterion(agreement, _drift(None), 1)


def _of_error(check: SpanCheck, read: RoundRead, error: Criterion) -> Iterator[Sight]:
    effects, capacity = read.effects, check.circumstances.instrument.capacity
    depends = Dependence(
        readings=tuple((float(read.mass), c / effects.per, 1) for c in effects.readings.values()),
        weights={name: c / effects.per for name, c in effects.weights.items()},
        capacity=None if capacity is None else float(capacity),
    )
    yield from depends.of(error, after=read.segment)
    yield from of_criterion(error, Cause("departure", "g", loads=(read.load,)), 1)
    yield from of_criterion(error, _drift(read.index), 1)


def _drift(index: int | None) -> Cause:
    return Cause("zero-drift", "g", only="rounds" if index is None else f"rounds/{index}")


def _once(criterion: Criterion) -> tuple[float, float]:
    k = criterion.coverage_factor or 2.0
    return -k, k
