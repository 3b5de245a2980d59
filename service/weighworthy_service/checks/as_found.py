"""What a check says over time: the part `as_found` of a kind of check.

A kind may have a module `as_found.py` in its folder with any of

    as_found(criteria: Sequence[Said], results: Said) -> Iterable[Measured]
    readings(criteria: Sequence[Said], results: Said) -> tuple[tuple[Any, ...], int]
    adjusted(answer: Said) -> bool

of an answer, or of its criteria and results, in JSON form, which may lack any figure or hold
something else there.

- `as_found` gives the errors before anything was done to the balance; each makes a series over time
  with those of the same balance that are of the same. Without it, criteria with one value in the
  answer are followed by their names (`of_single_values`).
- `readings` gives figures that are equal only where the readings were, and on how many independent
  readings of the balance, each with its scatter, they rest. Without it, or with none, checks of the
  kind are not searched for readings that are equal too often.
- `adjusted` tells whether the balance was adjusted in the course of the check. Without it a check
  has no room for that.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

from weighworthy_service.checks.faults import Said

# No error of a balance is larger, in g or %; what a trusted answer says beyond it is no reading.
_LARGEST: Final = 1e12


class Measured(NamedTuple):
    """One error as found, in g, %, K or s, and what it is the error of.

    `load`: nominal, g. `directions`: those of the readings it is the mean of, in words, `""` where
    none is told. `expected_loss`: of a simulated loss, %. `expanded_uncertainty` of a mean is the
    largest of its readings: what they share does not average out. `of_weights`: it would shift if
    the reference weights did.
    """

    criterion: str
    unit: str
    load: float | None
    value: float
    expanded_uncertainty: float | None
    lower_limit: float | None
    upper_limit: float | None
    directions: str = ""
    expected_loss: float | None = None
    of_weights: bool = True


def of_single_values(criteria: Sequence[Said]) -> Iterator[Measured]:
    """Each criterion that has its name for itself, but for what was read as left.

    Several of one name are of different things, and only their kind can tell which.
    """
    told = [c for c in criteria if c.get("stage") != "as-left"]
    names = Counter(c.get("name") for c in told)
    for criterion in told:
        name = criterion.get("name")
        if isinstance(name, str) and names[name] == 1:
            measured = measured_of(name, criterion, criterion.get("value"), of_weights=False)
            if measured is not None:
                yield measured


def measured_of(name: str, stated: Said, value: Any, *, of_weights: bool) -> Measured | None:
    """A value with load, uncertainty and limits that stand beside it; None: it is no number."""
    number, unit = finite(value), stated.get("unit")
    if number is None or not isinstance(unit, str):
        return None
    return Measured(
        name,
        unit,
        finite(stated.get("load")),
        number,
        finite(stated.get("expanded_uncertainty")),
        finite(stated.get("lower_limit")),
        finite(stated.get("upper_limit")),
        of_weights=of_weights,
    )


def finite(value: Any) -> float | None:
    """A number of an answer; None: there is none, or none that can be meant."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) <= _LARGEST else None
