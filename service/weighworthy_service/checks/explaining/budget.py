"""From the inputs of a budget to the expanded uncertainty, as a person would reckon it."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from weighworthy_service.checks.explaining.formula import Figure, Formula, formula
from weighworthy_service.checks.explaining.functions import (
    half_even,
    probability,
    quantile,
    sqrt,
    total,
    upwards,
)
from weighworthy_service.checks.explaining.inputs import Inputs, setting
from weighworthy_service.checks.explaining.sheet import FLOAT_DIGITS, Sheet
from weighworthy_service.checks.explaining.written import written
from weighworthy_service.checks.terms import Decision
from weighworthy_service.metrology.budget import SETTLED_DIGITS, STATED_DIGITS

_COMBINED = "JCGM 100:2008, 5.1.2"
_DEGREES = "JCGM 100:2008, G.4.1"
_COVERAGE = "JCGM 100:2008, G.3.2"
_STATED = "JCGM 100:2008, 7.2.6, rounded up"


@dataclass(frozen=True, slots=True)
class Input:
    """A row of a budget as formulas: standard uncertainty in `unit`, sensitivity, where from.

    `degrees`: of freedom; None: known.
    """

    source: str
    unit: str
    uncertainty: Formula
    sensitivity: Formula
    degrees: Formula | None = None
    basis: str | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """What one row contributes; its degrees of freedom, if it was estimated."""

    source: str
    contribution: Figure
    degrees: Figure | None


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What an uncertainty comes to. `degrees`; None: infinite."""

    parts: Sequence[Part]
    standard: Figure
    degrees: Figure | None
    factor: Figure
    expanded: Figure


def reckon(
    sheet: Sheet,
    rows: Sequence[Input],
    unit: str,
    decision: Decision,
    criterion: str | None = None,
    *gives: str,
) -> Reckoned:
    """Every row, then what they come to; `criterion`: where the answer shows it all, if it does.

    `gives`: where it shows the expanded uncertainty alone.
    """

    def at(*path: str | int) -> list[str]:
        return [] if criterion is None else ["/".join([criterion, *map(str, path)])]

    parts = []
    for i, row in enumerate(rows):
        u, c = _input(
            sheet,
            row,
            unit,
            at("budget", i, "standard_uncertainty"),
            at("budget", i, "sensitivity"),
        )
        gives_q = at("budget", i, "contribution")
        q = sheet.step(
            f"contribution of {row.source}",
            "q",
            abs(c) * u,
            unit,
            gives=gives_q,
            shown=FLOAT_DIGITS,
        )
        nu = None
        if row.degrees is not None:
            what, given = (
                f"degrees of freedom of {row.source}",
                at("budget", i, "degrees_of_freedom"),
            )
            nu = sheet.step(what, "nu_i", row.degrees, "1", gives=given)
        parts.append(Part(row.source, q, nu))
    standard = sheet.step(
        "combined standard uncertainty",
        "u",
        root([part.contribution for part in parts]),
        unit,
        gives=at("standard_uncertainty"),
        shown=FLOAT_DIGITS,
        source=_COMBINED,
    )
    degrees = None
    estimated = [part.contribution**4 / part.degrees for part in parts if part.degrees is not None]
    if estimated:
        degrees = sheet.step(
            "effective degrees of freedom",
            "nu",
            standard**4 / total(estimated),
            "1",
            gives=at("degrees_of_freedom"),
            shown=FLOAT_DIGITS,
            source=_DEGREES,
        )
    factor = sheet.step(
        "coverage factor",
        "k",
        quantile(_upper_end(decision), degrees),
        "1",
        gives=at("coverage_factor"),
        source=_COVERAGE,
    )
    settled = half_even(factor * standard, SETTLED_DIGITS)
    expanded = sheet.step(
        "expanded uncertainty, as decisions use it",
        "U",
        upwards(settled, STATED_DIGITS),
        unit,
        gives=[*at("expanded_uncertainty"), *gives],
        source=_STATED,
    )
    return Reckoned(parts, standard, degrees, factor, expanded)


def root(of: Sequence[Formula]) -> Formula:
    """√(Σc²) of those that are not zero; of one alone, itself."""
    acting = [c for c in of if c.number]
    if len(acting) == 1:
        return acting[0]
    if not acting:
        return formula(0)
    return sqrt(total([times(n, c**2) for c, n in alike(acting)]))


def alike(of: Iterable[Formula]) -> list[tuple[Formula, int]]:
    """Each formula once, and how often it is there."""
    by_text: dict[tuple[str, str], Formula] = {}
    counted: Counter[tuple[str, str]] = Counter()
    for one in of:
        key = written(one, lambda figure: figure.origin), written(one, lambda figure: figure.text)
        by_text.setdefault(key, one)
        counted[key] += 1
    return [(by_text[key], n) for key, n in counted.items()]


def times(n: int, of: Formula) -> Formula:
    """That formula n times."""
    return of if n == 1 else n * of


def digitisation(inputs: Inputs, what: str, sensitivity: Formula) -> list[Input]:
    """d/√12 for each reading, in one row; none where it does not act."""
    if not sensitivity.number:
        return []
    u = inputs.instrument("d", "scale_interval") / sqrt(formula(12))
    return [Input(f"digitisation of {what}", "g", u, sensitivity, basis="JCGM 100:2008, F.2.2.1")]


def scatter(inputs: Inputs, sensitivity: Formula) -> list[Input]:
    """s, estimated once and so entering once; none where it is zero or not stated."""
    instrument = inputs.here.instrument
    if not instrument.repeatability or not sensitivity.number:
        return []
    n = instrument.repeatability_observations
    degrees = None if n is None else inputs.instrument("n", "repeatability_observations") - 1
    s = inputs.instrument("s", "repeatability")
    return [Input("repeatability", "g", s, sensitivity, degrees)]


def off_centre(inputs: Inputs, sensitivity: Formula) -> list[Input]:
    """Built-up loads, per g of them; none where nothing is stated or no load is built up."""
    if inputs.here.instrument.eccentricity is None or not sensitivity.number:
        return []
    tried = inputs.instrument("load", "eccentricity", "load")
    difference = inputs.instrument("difference", "eccentricity", "difference")
    u = difference / (2 * tried * sqrt(formula(3)))
    return [
        Input("built-up loads", "1", u, sensitivity, basis="EURAMET cg-18, 7.1.1.4, from memory")
    ]


def _input(
    sheet: Sheet, row: Input, unit: str, gives_u: list[str], gives_c: list[str]
) -> tuple[Figure, Figure]:
    what = f"standard uncertainty of {row.source}"
    u = sheet.step(
        what, "u", row.uncertainty, row.unit, gives=gives_u, shown=FLOAT_DIGITS, source=row.basis
    )
    per = "1" if unit == row.unit else f"{unit}/{row.unit}"
    what = f"sensitivity to {row.source}"
    return u, sheet.step(what, "c", row.sensitivity, per, gives=gives_c, shown=FLOAT_DIGITS)


def _upper_end(decision: Decision) -> Formula:
    """(1 + p)/2; "95.45 %" stands for two standard deviations."""
    if decision.coverage == Decimal("95.45"):
        two = formula(2)
        return (1 + probability(two, None) - probability(-two, None)) / 2
    return (1 + setting("p", decision.coverage, "decision.coverage") / 100) / 2
