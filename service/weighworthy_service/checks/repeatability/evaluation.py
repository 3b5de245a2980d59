"""Evaluation of a repeatability check: how much net indications of one load scatter.

Standard deviation and smallest net mass after USP <41>, range after OIML R 76-1, 3.6 (both from
secondary texts); the uncertainty of a standard deviation after JCGM 100:2008, E.4.3.
"""

from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.conclusion import concluded
from weighworthy_service.checks.judging import Computed, judge
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.placings import net_indications
from weighworthy_service.checks.repeatability.check import RepeatabilityCheck
from weighworthy_service.checks.repeatability.remarks import remarks
from weighworthy_service.checks.repeatability.reveals import reveals
from weighworthy_service.checks.repeatability.scatter import (
    FACTOR,
    FLOOR,
    PER_SCATTER,
    SHARE,
    Scatter,
)
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology import scatter as metrology
from weighworthy_service.metrology.quantity import written_mass
from weighworthy_service.metrology.rounding import rounded_up

STANDARD_DEVIATION: Final = CriterionName("standard_deviation", "g", has_load=True)
RANGE: Final = CriterionName("range", "g", has_load=True)
SMALLEST_NET_MASS: Final = CriterionName("smallest_net_mass", "g", on_pan=False)
CRITERIA: Final = (STANDARD_DEVIATION, RANGE, SMALLEST_NET_MASS)

# Significant digits to which a repeatability is rounded up where it is handed on.
HANDED_ON_DIGITS: Final = 3
_PLACE: Final = ("placings",)


def evaluate(check: RepeatabilityCheck, terms: Terms) -> Evaluation:
    """Judge standard deviation, range and smallest net mass."""
    here = check.circumstances
    scatter = Scatter(net_indications(check.placings), here.instrument)
    load = here.nominal(check.load)
    net_mass = scatter.rows(float(PER_SCATTER))
    computed = (
        (STANDARD_DEVIATION, scatter.standard_deviation, scatter.rows(), load),
        (RANGE, scatter.range, scatter.rows_of_range, load),
        (SMALLEST_NET_MASS, scatter.smallest_net_mass, net_mass, None),
    )
    # The weights do not come in: they were the same each time.
    judged = [
        judge(name, Computed(name.name, value, rows, Fraction(0), of, place=_PLACE), terms, here)
        for name, value, rows, of in computed
    ]
    criteria = tuple(j.criterion for j in judged)
    found = [finding for j in judged for finding in j.findings]
    found += remarks(check, scatter, terms)
    results = {
        **_results(scatter, load),
        "reveals": reveals(scatter, judged[0], terms.decision),
    }
    return concluded("repeatability", criteria, results, found, terms)


def _results(scatter: Scatter, load: Decimal) -> dict[str, Any]:
    low, high = scatter.interval
    least, most = scatter.interval_of_net_mass
    drift = scatter.drift
    return {
        "load": load,
        "observations": scatter.n,
        "mean": scatter.mean,
        "standard_deviation": {
            "value": scatter.standard_deviation,
            "lower": low,
            "upper": high,
            "coverage": metrology.COVERAGE * 100,
        },
        "floor": {"value": scatter.floor, "decides": scatter.unresolved},
        "range": scatter.range,
        "smallest_net_mass": {
            "value": scatter.smallest_net_mass,
            "lower": least,
            "upper": most,
            "factor": FACTOR,
            "share": SHARE,
            "floor": FLOOR,
        },
        "placings": [
            {"index": net.index, "net": net.value, "deviation": Fraction(net.value) - scatter.mean}
            for net in scatter.nets
        ],
        "drift": {
            "slope": drift.slope,
            "standard_uncertainty": drift.uncertainty,
            "ratio": drift.ratio,
            "critical_ratio": drift.critical,
            "significant": drift.significant,
            "standard_deviation_about_line": drift.residual,
        },
        "declare": {
            "instrument": {
                "repeatability": written_mass(rounded_up(scatter.claimed, HANDED_ON_DIGITS)),
                "repeatability_observations": scatter.n,
            }
        },
    }
