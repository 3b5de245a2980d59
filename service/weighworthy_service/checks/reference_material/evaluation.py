"""Evaluation of runs with a reference material: found loss against stated loss.

Bias: mean of the losses found minus the stated one; scatter: standard deviation of single losses.
They are kept apart, as ISO Guide 33 does (from memory). What the uncertainty of the bias leaves
unexplained is told as ISO 13528 tells it, by a zeta score (from memory).
"""

from fractions import Fraction
from typing import Any, Final

from weighworthy_service.checks.conclusion import concluded
from weighworthy_service.checks.judging import Computed, Judged, judge, missing
from weighworthy_service.checks.outcome import CriterionName, Evaluation
from weighworthy_service.checks.reference_material.check import ReferenceMaterialCheck
from weighworthy_service.checks.reference_material.losses import Losses
from weighworthy_service.checks.reference_material.remarks import remarks
from weighworthy_service.checks.reference_material.reveals import reveals
from weighworthy_service.checks.terms import Terms
from weighworthy_service.metrology.scatter import COVERAGE

BIAS: Final = CriterionName("bias", "%", on_pan=False)
SCATTER: Final = CriterionName("scatter", "%", on_pan=False)
CRITERIA: Final = (BIAS, SCATTER)
_PLACE: Final = ("runs",)


def evaluate(check: ReferenceMaterialCheck, terms: Terms) -> Evaluation:
    """Judge the mean of the losses found, and how much they scatter."""
    losses = Losses(check)
    judged = [_bias(losses, terms), _scatter(losses, terms)]
    criteria = tuple(j.criterion for j in judged)
    found = [finding for j in judged for finding in j.findings]
    found += remarks(losses, judged[0], terms)
    results = {
        **_results(losses, judged[0]),
        "reveals": list(reveals(judged[0], terms.decision)),
    }
    return concluded("reference-material", criteria, results, found, terms)


def _bias(losses: Losses, terms: Terms) -> Judged:
    rows = losses.rows_of_bias()
    computed = Computed(BIAS.name, losses.bias, rows, Fraction(0), place=_PLACE)
    return judge(BIAS, computed, terms, losses.check.circumstances)


def _scatter(losses: Losses, terms: Terms) -> Judged:
    s = losses.deviation
    if s is None:
        return missing(SCATTER, terms, SCATTER.name, _PLACE)
    computed = Computed(SCATTER.name, s, losses.rows_of_scatter(), Fraction(0), place=_PLACE)
    return judge(SCATTER, computed, terms, losses.check.circumstances)


def _results(losses: Losses, bias: Judged) -> dict[str, Any]:
    material, criterion = losses.check.material, bias.criterion
    standard, expanded = criterion.standard_uncertainty, bias.expanded
    assert standard is not None and expanded is not None  # noqa: S101, PT018  it has a value
    interval = losses.interval
    stated_u = material.uncertainty
    return {
        "basis": losses.check.basis,
        "mean_loss": losses.mean,
        "stated_loss": material.stated_loss,
        "stated_standard_uncertainty": stated_u,
        "bias": losses.bias,
        "recovery": 100 * losses.mean / Fraction(material.stated_loss),
        "zeta_score": float(losses.bias) / standard,
        "bias_to_uncertainty": abs(losses.bias) / Fraction(expanded),
        "standard_deviation": None
        if interval is None
        else {
            "value": losses.deviation,
            "lower": interval[0],
            "upper": interval[1],
            "coverage": COVERAGE * 100,
        },
        "runs": losses.as_results(),
    }
