"""What a probe's certificate makes of its readings, and what that leaves uncertain."""

from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import sqrt

from weighworthy_service.checks.contributions import ROOT_3, ROOT_12
from weighworthy_service.checks.heater.check import Probe
from weighworthy_service.metrology.budget import BudgetRow

ASSUMED_COVERAGE_FACTOR = Decimal(2)
_NOTHING = Fraction(0)


@dataclass(frozen=True, slots=True)
class Corrected:
    """A correction in K at one reading: `slope` with the reading, in K/K; `doubt` of interpolating.

    `segment`: position of the correction at or below the reading; None: none is stated.
    """

    correction: Fraction
    slope: Fraction = _NOTHING
    doubt: Fraction = _NOTHING
    segment: int | None = None


def correction_at(probe: Probe, reading: Fraction) -> Corrected | None:
    """The correction at a reading in °C; None: the certificate does not reach there.

    On a straight line between neighbours. The doubt is the distance to the nearer of both
    corrections: a curve that stays between them is no farther off than that at its ends
    (common practice, no source).
    """
    points = probe.corrections
    if not points:
        return Corrected(_NOTHING)
    if not points[0].at <= reading <= points[-1].at:
        return None
    if len(points) == 1:
        return Corrected(Fraction(points[0].correction), segment=0)
    found = bisect_right([Fraction(point.at) for point in points], reading) - 1
    segment = min(found, len(points) - 2)
    low, high = points[segment], points[segment + 1]
    first, last = Fraction(low.correction), Fraction(high.correction)
    slope = (last - first) / (Fraction(high.at) - Fraction(low.at))
    correction = first + slope * (reading - Fraction(low.at))
    doubt = min(abs(correction - first), abs(correction - last))
    return Corrected(correction, slope, doubt, segment)


def probe_rows(
    probe: Probe, corrected: Corrected, scatter: tuple[Decimal, int] | None
) -> list[BudgetRow]:
    """Budget of the corrected mean of readings; `scatter`: their s in K and how many there are.

    Readings may all be rounded the same way, so their digitisation is not divided by their number.
    """
    acting = float(1 + corrected.slope)
    step = float(probe.interval) / ROOT_12
    source = "digitisation of the probe"
    rows = [BudgetRow(source, "rectangular", step, "K", acting, varies=True)]
    if scatter is not None and scatter[0]:
        s, n = scatter
        source, u = "scatter of the mean", float(s) / sqrt(n)
        rows.append(BudgetRow(source, "normal", u, "K", acting, n - 1, varies=True))
    factor = probe.coverage_factor or ASSUMED_COVERAGE_FACTOR
    certified = float(Fraction(probe.expanded_uncertainty) / Fraction(factor))
    rows.append(BudgetRow("certificate of the probe", "normal", certified, "K", 1))
    for source, half_width in (
        ("drift of the probe", probe.drift),
        ("immersion of the probe", probe.immersion_allowance),
        ("interpolation of corrections", corrected.doubt),
    ):
        if half_width:
            u = float(half_width) / ROOT_3
            rows.append(BudgetRow(source, "rectangular", u, "K", 1))
    return rows
