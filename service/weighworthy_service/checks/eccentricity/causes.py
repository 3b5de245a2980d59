"""What one load at several places shows of causes; see `checks.causes`."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from weighworthy_service.checks.causes import Cause, Dependence, Sight, of_criterion
from weighworthy_service.checks.contributions import Effects
from weighworthy_service.checks.eccentricity.check import EccentricityCheck
from weighworthy_service.checks.eccentricity.evaluation import ECCENTRICITY, POSITION_ERROR
from weighworthy_service.checks.eccentricity.places import Pan
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.terms import Terms

SEES: Final = ("off-centre",)


def sights(check: EccentricityCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """The difference to the centre at the place that counts, and the error at another."""
    by_name = {criterion.name: criterion for criterion in evaluation.criteria}
    pan = Pan(check)
    difference, error = by_name[ECCENTRICITY.name], by_name[POSITION_ERROR.name]
    load = float(check.circumstances.nominal(check.load))
    placed = Cause("off-centre", "1", unsigned=True)
    for place in pan.off:
        if place.index == difference.index:
            _, effects = pan.difference(place)
            for sight in _depends(check, effects).of(difference):
                # Here it is no matter of chance: the load was put there.
                if sight.cause.name != placed.name:
                    yield replace(sight, picked=True)
    for sight in of_criterion(difference, placed, load):
        yield replace(sight, what="the place that differs most from the centre")
    # It needs a cause itself, too, if it fails.
    for sight in of_criterion(difference, placed, load):
        yield replace(sight, picked=True)
    for criterion, name in ((difference, "eccentricity"), (error, "position_error")):
        here = Cause("zero-drift", "g", only=f"{name}/{criterion.index}")
        for sight in of_criterion(criterion, here, 1):
            yield replace(sight, picked=True)
    if error.index is not None:
        effects = pan.effects(pan.nets[error.index])
        for sight in _depends(check, effects).of(error, after=0):
            yield replace(sight, picked=True)
        lying = Cause("departure", "g", loads=(check.circumstances.nominal(check.load),))
        for sight in of_criterion(error, lying, 1):
            yield replace(sight, picked=True, after=0)


def _depends(check: EccentricityCheck, effects: Effects) -> Dependence:
    capacity, per = check.circumstances.instrument.capacity, effects.per
    return Dependence(
        tuple((float(r.nominal), c / per, 1) for r, c in effects.readings.items()),
        {name: c / per for name, c in effects.weights.items() if c},
        None if capacity is None else float(capacity),
    )
