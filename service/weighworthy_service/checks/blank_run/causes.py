"""What blank runs show of causes; see `checks.causes`."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from weighworthy_service.checks.blank_run.check import BlankRunCheck
from weighworthy_service.checks.blank_run.declaring import Together
from weighworthy_service.checks.blank_run.evaluation import MOISTURE_EFFECT, ZERO_CHANGE
from weighworthy_service.checks.blank_run.reading import RunRead
from weighworthy_service.checks.causes import Cause, Sight, of_criterion
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import coverage_factor

SEES: Final = ("hot-zero-drift",)
_HEAT: Final = Cause("hot-zero-drift", "g")
_SCATTER: Final = Cause("scatter", "g", unsigned=True)


def sights(check: BlankRunCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """The worst run with its own causes; what heat does in one more run, by all of them."""
    by_name = {criterion.name: criterion for criterion in evaluation.criteria}
    per_gram = {ZERO_CHANGE.name: 1.0, MOISTURE_EFFECT.name: -100 / float(check.sample_mass)}
    for name, c in per_gram.items():
        criterion = by_name[name]
        k = (criterion.coverage_factor or 2.0) * abs(c)
        here = Cause("zero-drift", "g", only=f"runs/{criterion.index}")
        for cause, least, most in ((_HEAT, c, c), (here, c, c), (_SCATTER, -k, k)):
            for sight in of_criterion(criterion, cause, least, most):
                yield replace(sight, picked=len(check.runs) > 1)
    together = Together(check, [RunRead(check, i) for i in range(len(check.runs))], terms)
    of_mean = together.uncertainty
    # That of one more run has the scatter of a single one besides, and about as much of estimate.
    k = coverage_factor(of_mean.degrees_of_freedom, terms.decision.coverage)
    value, spread = float(together.mean), k * float(together.of_next_run)
    yield Sight(_HEAT, ZERO_CHANGE.name, value, spread, 1.0, 1.0, "what one more run would change")
