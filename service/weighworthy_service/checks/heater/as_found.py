"""What a heater check says over time: the error at each set temperature, a series of its own.

The criterion carries the worst of them, which need not be the same from check to check.
"""

from collections.abc import Iterator, Sequence

from weighworthy_service.checks.as_found import Measured, finite, measured_of
from weighworthy_service.checks.faults import Said
from weighworthy_service.checks.figures import rows


def as_found(_criteria: Sequence[Said], results: Said) -> Iterator[Measured]:
    """The first at each set temperature; a later one of the same check repeats it."""
    seen = set()
    for row in rows(results, "set_points"):
        set_ = finite(row.get("set"))
        if set_ is None or set_ in seen:
            continue
        name = f"temperature_error at {set_:g} Cel"
        measured = measured_of(name, {"unit": "K", **row}, row.get("error"), of_weights=False)
        if measured is not None:
            seen.add(set_)
            yield measured
