"""The readings at one set point reckoned by hand: mean, correction, scatter, change along them."""

from collections.abc import Sequence
from dataclasses import dataclass

from weighworthy_service.checks.explaining.formula import Figure, Formula, formula, stated
from weighworthy_service.checks.explaining.functions import (
    largest,
    smallest,
    sqrt,
    total,
)
from weighworthy_service.checks.explaining.inputs import reading
from weighworthy_service.checks.explaining.sheet import EXACT_DIGITS, Sheet
from weighworthy_service.checks.heater.chamber import SetPointRead
from weighworthy_service.checks.heater.check import Probe

# So many terms stand in one step: a page has an end, and so has the depth of a formula.
_BLOCK = 40


@dataclass(frozen=True, slots=True)
class Explained:
    """What the readings of a set point come to; None where there is no such thing.

    `slope` and `doubt`: of the correction, where it is interpolated.
    """

    mean: Figure
    temperature: Figure | None
    slope: Formula
    doubt: Figure | None
    scatter: Figure | None
    spread: Figure | None
    change: Figure | None
    change_u: Figure | None
    off_most: Formula


def explain_readings(sheet: Sheet, probe: Probe, p: SetPointRead) -> Explained:
    """Every number that follows from the readings alone."""
    at, of = f"/results/set_points/{p.index}", f"of set point {p.index}"
    readings = [
        reading("T", t, "set_points", p.index, "readings", k)
        for k, t in enumerate(p.point.readings)
    ]
    n = p.count
    middle = sheet.step(
        f"mean of the readings {of}",
        "mean",
        _sum(sheet, readings, f"readings {of}", "Cel") / n,
        "Cel",
        gives=[f"{at}/mean_reading"],
    )
    temperature, slope, doubt = _corrected(sheet, probe, p, middle)
    scatter = spread = change = change_u = None
    if n > 1:
        squares = [(t - middle) ** 2 for t in readings]
        scattered = sheet.step(
            f"sum of squared departures from the mean {of}",
            "SS",
            _sum(sheet, squares, f"squared departures {of}", "K2"),
            "K2",
        )
        scatter = sheet.step(
            f"standard deviation of the readings {of}",
            "s",
            sqrt(scattered / (n - 1)),
            "K",
            gives=[f"{at}/standard_deviation"],
            shown=EXACT_DIGITS,
            source="JCGM 100:2008, 4.2.2",
        )
        apart = largest(*readings) - smallest(*readings)
        spread = sheet.step(
            f"largest minus smallest reading {of}", "spread", apart, "K", gives=[f"{at}/spread"]
        )
        if n > 2:
            change, change_u = _along(sheet, p, readings, scattered)
    off_most = largest(*[abs(t - middle) for t in readings])
    return Explained(middle, temperature, slope, doubt, scatter, spread, change, change_u, off_most)


def _corrected(
    sheet: Sheet, probe: Probe, p: SetPointRead, middle: Figure
) -> tuple[Figure | None, Formula, Figure | None]:
    """Temperature, slope of the correction, doubt about it."""
    at, of = f"/results/set_points/{p.index}", f"of set point {p.index}"
    gives = [f"{at}/temperature"]
    found, none = p.corrected, formula(0)
    if found is None:
        return None, none, None
    if found.segment is None:
        what = f"temperature {of}, without correction"
        return sheet.step(what, "t", middle, "Cel", gives=gives), none, None

    def point(k: int) -> tuple[Figure, Figure]:
        origin, said = f"request /probe/corrections/{k}", probe.corrections[k]
        return (
            stated("a", said.at, f"{origin}/at"),
            stated("c", said.correction, f"{origin}/correction"),
        )

    low, first = point(found.segment)
    doubt, slope = None, none
    of_correction: Formula = first
    if len(probe.corrections) > 1:
        high, last = point(found.segment + 1)
        slope = (last - first) / (high - low)
        of_correction = first + slope * (middle - low)
    correction = sheet.step(
        f"correction at the mean {of}", "corr", of_correction, "K", gives=[f"{at}/correction"]
    )
    if found.doubt:
        nearer = smallest(abs(correction - first), abs(correction - last))
        doubt = sheet.step(f"distance to the nearer correction {of}", "h", nearer, "K")
    temperature = sheet.step(f"temperature {of}", "t", middle + correction, "Cel", gives=gives)
    return temperature, slope, doubt


def _along(
    sheet: Sheet, p: SetPointRead, readings: Sequence[Figure], scattered: Figure
) -> tuple[Figure, Figure]:
    """Least squares at even intervals, with weights 2k - n + 1 of the readings k = 0 … n - 1.

    Its change is 6·Σ(w·T)/(n(n + 1)); its variance that of the residuals over
    q = n(n + 1)/(12(n - 1)).
    """
    at, of, n = f"/results/set_points/{p.index}", f"of set point {p.index}", p.count
    weighed = [formula(2 * k - n + 1) * t for k, t in enumerate(readings)]
    change = sheet.step(
        f"change along the readings {of}",
        "change",
        6 * _sum(sheet, weighed, f"weighed readings {of}", "Cel") / (n * (n + 1)),
        "K",
        gives=[f"{at}/drift"],
        source="least squares: JCGM 100:2008, H.3",
    )
    q = formula(n * (n + 1)) / (12 * (n - 1))
    u = sqrt((scattered - change**2 * q) / ((n - 2) * q))
    change_u = sheet.step(
        f"standard uncertainty of that change {of}",
        "u_change",
        u,
        "K",
        gives=[f"{at}/drift_uncertainty"],
        shown=EXACT_DIGITS,
    )
    return change, change_u


def _sum(sheet: Sheet, parts: Sequence[Formula], what: str, unit: str) -> Formula:
    """The sum of few; of many a step for each block of them."""
    if len(parts) <= _BLOCK:
        return total([*parts])
    blocks: list[Formula] = []
    for start in range(0, len(parts), _BLOCK):
        some = parts[start : start + _BLOCK]
        name = f"sum of {what}, {start} to {start + len(some) - 1}"
        blocks.append(sheet.step(name, "sum", total([*some]), unit))
    return total(blocks)
