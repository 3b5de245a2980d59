"""What runs with a reference material show of causes; see `checks.causes`.

They show the whole of a drying at once, and so bound none of its parts.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from weighworthy_service.checks.causes import Cause, Sight, of_criterion
from weighworthy_service.checks.outcome import Evaluation
from weighworthy_service.checks.reference_material.check import ReferenceMaterialCheck
from weighworthy_service.checks.reference_material.evaluation import BIAS
from weighworthy_service.checks.terms import Terms

SEES: Final = ()
# Of all others nothing says that a drying is free of them, only that nobody can tell their size.
CANNOT: Final = ("gain",)
_TEMPERATURE: Final = (
    "a temperature that is off is one way for a drying to go wrong; if it is right, others are left"
)
IN_PART: Final = {"drying": ("heater", _TEMPERATURE)}


def sights(check: ReferenceMaterialCheck, terms: Terms, evaluation: Evaluation) -> Iterator[Sight]:
    """A bias may come of the drying itself, or of a zero that moves in the heat."""
    bias = next(c for c in evaluation.criteria if c.name == BIAS.name)
    causes = [(Cause("drying", "%"), 1.0)]
    masses = [run.initial_mass for run in check.runs if run.has_masses and run.initial_mass]
    if masses and len(masses) == len(check.runs) and check.basis == "wet":
        # A change of zero by x at the end makes -100·x/m of a loss, and the mean of that of many.
        mean = sum(100 / float(mass) for mass in masses) / len(masses)
        causes.append((Cause("hot-zero-drift", "g"), -mean))
        causes.append((Cause("zero-drift", "g", only="runs"), -mean))
    for cause, c in causes:
        for sight in of_criterion(bias, cause, c):
            yield replace(sight, picked=True)
