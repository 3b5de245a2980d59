"""When the line of a series would reach a limit, if all went on as it did.

The interval is where the confidence band of the line meets the limit: the earliest by its edge on
the side of the limit, the latest by the other edge. (Of a straight line this is the interval of
inverse regression: Fieller 1954; from memory.) It is about the line, the mean error, and holds
neither the scatter of one check nor its uncertainty.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from math import copysign, hypot, sqrt
from typing import Final, NamedTuple

from weighworthy_service.logbook.drift.series import Point
from weighworthy_service.logbook.drift.slope import Line, days_of, instant

YEARS: Final = 10
HORIZON_DAYS: Final = YEARS * 365.25


class Reach(NamedTuple):
    """When one limit is reached; None: not within ten years of the last point.

    The instant of the last point itself means: by then already.
    """

    limit: float
    estimate: datetime | None
    earliest: datetime | None
    latest: datetime | None


class Outlook(NamedTuple):
    """For the limits in force at the last point; None: there is no such limit.

    `overlaps`: the last value with its expanded uncertainty already extends beyond a limit; None:
    no uncertainty is stated.
    """

    upper: Reach | None
    lower: Reach | None
    overlaps: bool | None


def outlook(points: Sequence[Point], line: Line) -> Outlook | None:
    """Of a series that still goes on, with `line` as `slope_of` gives it; None: no limit at all."""
    last = points[-1]
    if last.upper_limit is None and last.lower_limit is None:
        return None
    upper = lower = None
    if last.upper_limit is not None:
        upper = _reach(points, line, last.upper_limit)
    if last.lower_limit is not None:
        mirrored = replace(line, value=-line.value, slope=-line.slope)
        found = _reach(points, mirrored, -last.lower_limit)
        lower = found._replace(limit=last.lower_limit)
    return Outlook(upper, lower, overlaps(last))


def overlaps(point: Point) -> bool | None:
    """Whether value ± U extends beyond a limit, in decimals as they are stated."""
    if point.expanded_uncertainty is None:
        return None
    value, u = _stated(point.value), _stated(point.expanded_uncertainty)
    upper, lower = point.upper_limit, point.lower_limit
    return (upper is not None and value + u > _stated(upper)) or (
        lower is not None and value - u < _stated(lower)
    )


def _stated(number: float) -> Decimal:
    return Decimal(repr(number))


def _reach(points: Sequence[Point], line: Line, limit: float) -> Reach:
    last = days_of(points)[-1]
    estimate, earliest, latest = (
        None if x is None else instant(points[-1].at, x - last)
        for x in (
            first_at(line, limit, width, last) for width in (0, line.quantile, -line.quantile)
        )
    )
    return Reach(limit, estimate, earliest, latest)


def first_at(line: Line, limit: float, width: float, start: float) -> float | None:
    """The first x from `start` on at which the line plus `width` times its u is at the limit.

    None: not within the horizon. With `width` zero it is the line itself.
    """
    gap, x0 = limit - line.value, start - line.middle
    if line.slope * x0 + width * hypot(line.u_value, line.u_slope * x0) >= gap:
        return start
    crossings = [x for x in _crossings(line, gap, width) if x0 < x <= x0 + HORIZON_DAYS]
    return min(crossings) + line.middle if crossings else None


def _crossings(line: Line, gap: float, width: float) -> list[float]:
    """Where slope·x + width·u(x) = gap: roots of its square that have the sign of `width`.

    (gap - slope·x)² = width²·(u_value² + u_slope²·x²), written so that nothing cancels.
    """
    slope, u_value, u_slope = line.slope, abs(width) * line.u_value, abs(width) * line.u_slope
    if u_value == u_slope == 0:
        return [gap / slope] if slope else []
    square = (slope - u_slope) * (slope + u_slope)
    constant = (gap - u_value) * (gap + u_value)
    under = slope**2 * u_value**2 + u_slope**2 * constant
    if under < 0:
        return []
    middle = slope * gap
    far = middle + copysign(sqrt(under), middle)
    roots = [far / square] if square else []
    roots += [constant / far] if far else []
    return [x for x in roots if (gap - slope * x) * width >= 0]
