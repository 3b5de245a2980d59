"""What the scatter of one load shows of causes; see `checks.causes`."""

from collections.abc import Iterator
from math import sqrt
from typing import Final

from weighworthy_service.checks.causes import Cause, Sight, of_criterion
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.repeatability.check import RepeatabilityCheck
from weighworthy_service.checks.repeatability.evaluation import (
    RANGE,
    SMALLEST_NET_MASS,
    STANDARD_DEVIATION,
)
from weighworthy_service.checks.repeatability.scatter import PER_SCATTER
from weighworthy_service.checks.terms import Terms

SEES: Final = ("scatter",)


def sights(check: RepeatabilityCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """The scatter by its chi-square interval; what a criterion says may come of placing, too."""
    n, load = len(check.placings), float(check.circumstances.nominal(check.load))
    # A range is at most √(2·(n - 1)) standard deviations of the same values.
    spreads = {
        STANDARD_DEVIATION.name: 1.0,
        RANGE.name: sqrt(2 * (n - 1)),
        SMALLEST_NET_MASS.name: float(PER_SCATTER),
    }
    for criterion in evaluation.criteria:
        most = spreads[criterion.name]
        yield from of_criterion(criterion, Cause("scatter", "g", unsigned=True), 0, most)
        # Values that all lie within ±x have a standard deviation of no more than x·√(n/(n - 1)).
        reach = most * sqrt(n / (n - 1))
        yield from of_criterion(criterion, Cause("off-centre", "1", unsigned=True), 0, reach * load)
        yield from of_criterion(criterion, Cause("zero-drift", "g", only="placings"), -reach, reach)
    found = evaluation.results["standard_deviation"]
    low, high = float(found["lower"]), float(found["upper"])
    # What a step may hide, and what it may pretend.
    step = float(check.circumstances.instrument.scale_interval)
    low, high = max(0.0, low - step / 2), high + step / 2
    yield Sight(
        Cause("scatter", "g", unsigned=True),
        STANDARD_DEVIATION.name,
        (low + high) / 2,
        (high - low) / 2,
        1.0,
        1.0,
        "what its placings leave of the standard deviation",
    )
