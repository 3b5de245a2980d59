"""What a check says of the error as it was found, before anything was done to the balance.

A span check says it in the first round as found of each load: a later round repeats it. A linearity
check says it for each load in the mean of all its readings of that load, as its curve does; which
directions these came from belongs to the identity of the series, as a mean of up and down has half
the hysteresis in it and a way up has none. A simulated loss says it as one loss error.
"""

from collections.abc import Iterator, Mapping
from math import fsum
from typing import Any, Final, NamedTuple

from weighworthy_service.logbook.entries import CheckSaid

# No error of a balance is larger, in g or %; what a trusted answer says beyond it is no reading.
_LARGEST: Final = 1e12


class Measured(NamedTuple):
    """One error as found, in g or %, and what it is the error of.

    `load`: nominal, g. `directions`: those of the readings it is the mean of, in words, `""` where
    none is told. `expected_loss`: of a simulated loss, %. `expanded_uncertainty` of a mean is the
    largest of its readings: what they share does not average out.
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


def as_found(said: CheckSaid) -> tuple[Measured, ...]:
    """The errors as found; none where the check says nothing of the time before.

    Of a check that adjusted the balance and whose statement about the time before is missing or
    void, nothing is taken. A trusted answer may lack any of it, or hold something else there.
    """
    if said.adjusted and said.lets_use_as_found is None:
        return ()
    if said.check == "linearity":
        return tuple(_points(said.results.get("points")))
    if said.check == "span":
        return tuple(_rounds(said))
    return tuple(_losses(said))


def _rounds(said: CheckSaid) -> Iterator[Measured]:
    seen = set()
    for criterion in said.criteria:
        if criterion.get("name") != "span_error" or criterion.get("stage") != "as-found":
            continue
        measured = _measured("span_error", criterion, criterion.get("value"))
        if measured is not None and measured.load not in seen:
            seen.add(measured.load)
            yield measured


def _losses(said: CheckSaid) -> Iterator[Measured]:
    for criterion in said.criteria:
        if criterion.get("name") == "loss_error":
            measured = _measured("loss_error", criterion, criterion.get("value"))
            if measured is not None:
                yield measured._replace(expected_loss=_number(said.results.get("expected_loss")))


def _points(points: Any) -> Iterator[Measured]:
    """By load, the mean; the limits at a load are the same in all its points."""
    if not isinstance(points, list | tuple):
        return
    by_load: dict[float | None, list[tuple[Measured, str]]] = {}
    for point in points:
        if not isinstance(point, Mapping):
            continue
        measured = _measured("point_error", {"unit": "g", **point}, point.get("error"))
        if measured is not None:
            direction = point.get("direction")
            told = direction if isinstance(direction, str) else ""
            by_load.setdefault(measured.load, []).append((measured, told))
    for same in by_load.values():
        first = same[0][0]
        uncertainties = [m.expanded_uncertainty for m, _ in same]
        known = [u for u in uncertainties if u is not None]
        yield first._replace(
            value=fsum(m.value for m, _ in same) / len(same),
            expanded_uncertainty=max(known) if len(known) == len(same) else None,
            directions=" and ".join(sorted({told for _, told in same if told}, reverse=True)),
        )


def _measured(name: str, stated: Mapping[str, Any], value: Any) -> Measured | None:
    number, unit = _number(value), stated.get("unit")
    if number is None or not isinstance(unit, str):
        return None
    return Measured(
        name,
        unit,
        _number(stated.get("load")),
        number,
        _number(stated.get("expanded_uncertainty")),
        _number(stated.get("lower_limit")),
        _number(stated.get("upper_limit")),
    )


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) <= _LARGEST else None
