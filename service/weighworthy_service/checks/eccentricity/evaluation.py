"""Evaluation of an eccentricity check: what it does to put one load off the centre of the pan.

Differences to the centre as in EURAMET cg-18 v4.0 (from memory); errors of indication at each place
as OIML R 76-1:2006, 3.6.2 limits them (from a secondary text).
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.conclusion import concluded
from weighworthy_service.checks.contributions import (
    Sources,
    budget_rows,
    error_rows,
    weights_allowance,
)
from weighworthy_service.checks.eccentricity.check import EccentricityCheck
from weighworthy_service.checks.eccentricity.places import Pan, Place
from weighworthy_service.checks.eccentricity.remarks import Moved, remarks
from weighworthy_service.checks.eccentricity.reveals import reveals
from weighworthy_service.checks.judging import Computed, Judged, judge, missing, most_critical
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.placings import is_valued
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.budget import BudgetRow, combine
from weighworthy_service.metrology.quantity import EXACT, written_mass
from weighworthy_service.metrology.rounding import rounded_up

ECCENTRICITY: Final = CriterionName("eccentricity", "g", has_load=True, on_grid=True)
POSITION_ERROR: Final = CriterionName("position_error", "g", has_load=True, on_grid=True)
CRITERIA: Final = (ECCENTRICITY, POSITION_ERROR)

# Significant digits to which a difference is rounded up where it is handed on.
HANDED_ON_DIGITS: Final = 3


def evaluate(check: EccentricityCheck, terms: Terms) -> Evaluation:
    """Judge the difference of each place to the centre, and the error at each placing."""
    here = check.circumstances
    pan, sources = Pan(check), Sources(here.instrument)
    differences = [_difference(check, pan, place, terms, sources) for place in pan.off]
    errors = _errors(check, pan, terms, sources) if is_valued(here, check.load) else []
    judged = [
        most_critical(differences),
        most_critical(errors)
        if errors
        else missing(POSITION_ERROR, terms, POSITION_ERROR.name, ("load",)),
    ]
    moved = _moved(check, pan, terms, sources)
    criteria = tuple(j.criterion for j in judged)
    found = [finding for j in judged for finding in j.findings]
    found += remarks(check, pan, moved, terms, errors_limited=POSITION_ERROR.name in terms.limits)
    results = {
        **_results(check, pan, moved, differences, errors),
        "reveals": reveals(judged[0], terms.decision),
    }
    return concluded("eccentricity", criteria, results, found, terms)


def _difference(
    check: EccentricityCheck, pan: Pan, place: Place, terms: Terms, sources: Sources
) -> Judged:
    here = check.circumstances
    value, effects = pan.difference(place)
    rows = budget_rows(effects, here, terms.weights_correlation, "g", sources)
    computed = Computed(
        key=ECCENTRICITY.name,
        value=value,
        rows=[*rows, *_cancelled(check)],
        weights_error=weights_allowance(effects, here),
        load=here.nominal(check.load),
        index=place.index,
        place=("placings", place.index),
    )
    return judge(ECCENTRICITY, computed, terms, here)


def _cancelled(check: EccentricityCheck) -> list[BudgetRow]:
    """The weights, which were the same at all places: shown, so that nobody misses them."""
    here = check.circumstances
    if not is_valued(here, check.load):
        return []
    u = sum(weight.standard_uncertainty for weight in here.on(check.load))
    kinds = {weight.distribution for weight in here.on(check.load)}
    distribution = kinds.pop() if len(kinds) == 1 else "mixed"
    names = ", ".join(check.load)
    return [BudgetRow(f"reference weights {names}", distribution, u, "g", 0.0)]


def _errors(check: EccentricityCheck, pan: Pan, terms: Terms, sources: Sources) -> list[Judged]:
    here = check.circumstances
    mass, load = here.mass(check.load), here.nominal(check.load)
    adjusted, correlation = here.occasion == "after-adjustment", terms.weights_correlation
    judged = []
    for net in pan.nets:
        effects = pan.effects(net)
        computed = Computed(
            key=POSITION_ERROR.name,
            value=EXACT.subtract(net.value, mass),
            rows=error_rows(effects, here, correlation, adjusted=adjusted, sources=sources),
            weights_error=weights_allowance(effects, here),
            load=load,
            index=net.index,
            place=("placings", net.index),
        )
        judged.append(judge(POSITION_ERROR, computed, terms, here))
    return judged


def _moved(check: EccentricityCheck, pan: Pan, terms: Terms, sources: Sources) -> Moved | None:
    """What the centre moved by, with the uncertainty of both readings."""
    if pan.change is None:
        return None
    value, effects = pan.change
    rows = budget_rows(effects, check.circumstances, terms.weights_correlation, "g", sources)
    return Moved(value, combine(rows, terms.decision.coverage).expanded)


def _results(
    check: EccentricityCheck,
    pan: Pan,
    moved: Moved | None,
    differences: Sequence[Judged],
    errors: Sequence[Judged],
) -> dict[str, Any]:
    load = check.circumstances.nominal(check.load)
    off = [(place, *pan.difference(place)[:1]) for place in pan.off]
    far, largest = max(off, key=lambda found: abs(found[1]))
    declared = rounded_up(abs(largest), HANDED_ON_DIGITS)
    return {
        "load": load,
        "centre": {
            "net": pan.centre.net,
            "observations": len(pan.centre.nets),
            "change": None if moved is None else moved.value,
            "expanded_uncertainty": None if moved is None else moved.expanded,
        },
        "positions": [
            {
                "position": place.position,
                "observations": len(place.nets),
                "net": place.net,
                "difference": value,
                **_shown(judged),
            }
            for (place, value), judged in zip(off, differences, strict=True)
        ],
        "largest_difference": {
            "position": far.position,
            "value": largest,
            "share_of_load": 100 * largest / Fraction(load),
        },
        "placings": [
            {
                "index": net.index,
                "net": net.value,
                "difference": Fraction(net.value) - pan.centre.net,
                **(
                    {"error": errors[net.index].value, **_shown(errors[net.index])}
                    if errors
                    else {}
                ),
            }
            for net in pan.nets
        ],
        "declare": {
            "instrument": {
                "eccentricity": {
                    "difference": written_mass(declared),
                    "load": written_mass(load),
                }
            }
        },
    }


def _shown(judged: Judged) -> dict[str, Any]:
    return {
        "expanded_uncertainty": judged.expanded,
        "lower_limit": judged.limits[0],
        "upper_limit": judged.limits[1],
        "margin": judged.margin,
        "verdict": judged.verdict,
    }
