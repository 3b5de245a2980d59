"""What a linearity check says over time: for each load the mean of all its readings, as its curve
does.

Which directions these came from belongs to the identity of the series, as a mean of up and down has
half the hysteresis in it and a way up has none.
"""

from collections.abc import Iterator, Mapping, Sequence
from math import fsum
from typing import Any

from weighworthy_service.checks.as_found import Measured, measured_of
from weighworthy_service.checks.faults import Said


def as_found(_criteria: Sequence[Said], results: Said) -> Iterator[Measured]:
    """By load, the mean; the limits at a load are the same in all its points."""
    points = results.get("points")
    if not isinstance(points, list | tuple):
        return
    by_load: dict[float | None, list[tuple[Measured, str]]] = {}
    for point in points:
        if not isinstance(point, Mapping):
            continue
        stated = {"unit": "g", **point}
        measured = measured_of("point_error", stated, point.get("error"), of_weights=True)
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


def readings(_criteria: Sequence[Said], results: Said) -> tuple[tuple[Any, ...], int]:
    """One of each point."""
    points = results.get("points")
    if not isinstance(points, list | tuple):
        return (), 0
    errors = tuple((p.get("load"), p.get("error")) for p in points if isinstance(p, Mapping))
    return errors, len(errors)
