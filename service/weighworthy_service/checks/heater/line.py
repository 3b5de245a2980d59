"""How the error changes with temperature: the least-squares line through all set points."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from weighworthy_service.checks.heater.chamber import SetPointRead
from weighworthy_service.metrology.spread import mean, slope


def error_line(points: Sequence[SetPointRead]) -> dict[str, Any] | None:
    """Slope in K/K and errors in K at both ends (JCGM 100:2008, H.3.3); None: below two ends."""
    known = [(Fraction(p.point.set), p.error) for p in points if p.error is not None]
    if len({set_ for set_, _ in known}) < 2:
        return None
    sets, errors = zip(*known, strict=True)
    along = slope(sets, errors).value
    middle, at_middle = mean(sets), mean(errors)
    ends = [
        {"set": end, "error": at_middle + along * (end - middle)} for end in (min(sets), max(sets))
    ]
    return {"slope": along, "ends": ends}
