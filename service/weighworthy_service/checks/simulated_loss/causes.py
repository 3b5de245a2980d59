"""What the error of a simulated loss shows of causes; see `checks.causes`."""

from collections.abc import Iterator
from math import sqrt
from typing import Final

from weighworthy_service.checks.causes import Cause, Sight, of_criterion
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.simulated_loss.check import SimulatedLossCheck
from weighworthy_service.checks.simulated_loss.loss import Reference, outcome
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.quantity import QUANTA

SEES: Final = ("zero-change", "departure", "weight")


def sights(check: SimulatedLossCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """The error of the loss, by the slopes that its budget has. A constant gain cancels in it."""
    (error,) = evaluation.criteria
    here, found = check.circumstances, outcome(check)
    initial, final, common = found.slopes()
    start, end = found.initial / QUANTA, found.final / QUANTA
    loads = (here.nominal(check.initial.load), here.nominal(check.final.load))

    # Of a zero that moves with every loading the start has one step already, both readings alike.
    each = sorted((final, final + common))
    yield from of_criterion(error, Cause("zero-change", "g"), *each)
    yield from of_criterion(error, Cause("zero-drift", "g", only="run"), final)
    yield from of_criterion(error, Cause("common-zero", "g", only="run"), common)
    yield from of_criterion(error, Cause("gain-change", "1", only="run"), final * end)
    yield from of_criterion(error, Cause("departure", "g", loads=loads), final)
    if loads[1] < loads[0]:
        yield from of_criterion(error, Cause("hysteresis", "g", loads=loads), final)
    if check.took_heat is not False:
        yield from of_criterion(error, Cause("hot-zero-drift", "g"), final)
    curvature = next(
        line["sensitivity"]
        for line in evaluation.results["reveals"]
        if line["fault"] == "curvature"
    )
    if curvature:
        yield from of_criterion(error, Cause("curvature", "g"), curvature)
    weights = Reference(check).weights
    for name, c in weights.weights.items():
        if c:
            yield from of_criterion(error, Cause("weight", "g", about=name), -c / weights.per)
    k = (error.coverage_factor or 2.0) * sqrt(initial**2 + final**2)
    yield from of_criterion(error, Cause("scatter", "g", unsigned=True), -k, k)
    placed = abs(initial) * start + abs(final) * end
    yield from of_criterion(error, Cause("off-centre", "1", unsigned=True), -placed, placed)
