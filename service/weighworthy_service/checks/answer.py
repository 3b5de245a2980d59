"""The answer to a check request: the one envelope of all kinds, ready to be written as JSON.

Every field is always there. Exact values keep up to 15 significant digits, values that rest on
floats 10, both rounded half to even; infinity is null; there is no negative zero.
"""

from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import lru_cache
from math import isinf
from typing import Any, Final

from weighworthy_service.checks.outcome import (
    Brief,
    Criterion,
    Evaluation,
    Finding,
    Ruling,
    criticality,
)
from weighworthy_service.checks.terms import ProfileIdentity
from weighworthy_service.json_document import digest
from weighworthy_service.metrology.budget import BudgetRow
from weighworthy_service.metrology.rounding import nearest_float, rounding_context

# Any decimal of this many digits survives the way through a double and its shortest text.
_DIGITS: Final = 15
_SHOWN: Final = rounding_context(_DIGITS, ROUND_HALF_EVEN)
# Grows when any number or verdict of an answer can change.
ENGINE_REVISION: Final = 1


def answer(
    evaluation: Evaluation,
    *,
    profile: ProfileIdentity,
    version: str,
    request_digest: str,
    labels: Mapping[str, str],
    short: bool = False,
) -> dict[str, Any]:
    """The envelope; `short` leaves out the budgets and what a check can reveal."""
    results = {k: v for k, v in evaluation.results.items() if not (short and k == "reveals")}
    return {
        "check": evaluation.check,
        "verdict": evaluation.verdict,
        "verdict_as_found": evaluation.verdict_as_found,
        "verdict_as_left": evaluation.verdict_as_left,
        "verdict_if_valid": evaluation.verdict_if_valid,
        "usable": evaluation.usable,
        "criteria": [_criterion(criterion, short=short) for criterion in evaluation.criteria],
        "results": jsonable(results),
        "findings": [_finding(finding) for finding in evaluation.findings],
        "profile": {"id": profile.id, "revision": profile.revision, "digest": profile.digest},
        "engine": {"name": "weighworthy", "version": version, "revision": ENGINE_REVISION},
        "request_digest": request_digest,
        "labels": dict(labels),
    }


def brief_of(evaluation: Evaluation) -> Brief:
    """What a table shows: of all criteria the one that decided, or the first if none was judged.

    It has the verdict of the whole check, if valid; of several such the smallest margin.
    """
    said = evaluation.verdict_if_valid if evaluation.verdict == "void" else evaluation.verdict
    deciding = [c for c in evaluation.criteria if c.verdict is not None and c.verdict == said]
    chosen = min(deciding, key=criticality, default=evaluation.criteria[0])
    ruling = Ruling(
        evaluation.verdict,
        evaluation.usable,
        chosen.key,
        chosen.unit,
        number(chosen.lower_limit),
        number(chosen.upper_limit),
        number(chosen.expanded_uncertainty),
        tuple(finding.code for finding in evaluation.findings),
    )
    return Brief(ruling, number(chosen.value), number(chosen.margin))


def _criterion(criterion: Criterion, *, short: bool) -> dict[str, Any]:
    return {
        "key": criterion.key,
        "name": criterion.name,
        "stage": criterion.stage,
        "index": criterion.index,
        "load": number(criterion.load),
        "value": number(criterion.value),
        "unit": criterion.unit,
        "lower_limit": number(criterion.lower_limit),
        "upper_limit": number(criterion.upper_limit),
        "standard_uncertainty": number(criterion.standard_uncertainty),
        "expanded_uncertainty": number(criterion.expanded_uncertainty),
        "coverage_factor": number(criterion.coverage_factor),
        "degrees_of_freedom": number(criterion.degrees_of_freedom),
        "conformance_probability": number(criterion.conformance_probability),
        "margin": number(criterion.margin),
        "distance": number(criterion.distance),
        "tolerance_to_uncertainty": number(criterion.tolerance_to_uncertainty),
        "decision_rule": criterion.decision_rule,
        "verdict": criterion.verdict,
        "limit_source": criterion.limit_source,
        "budget": [] if short else [budget_row(row) for row in criterion.budget],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "field": finding.field,
    }


def budget_row(row: BudgetRow) -> dict[str, Any]:
    """A row of a budget as an answer shows it."""
    source, distribution, u, unit, sensitivity, degrees, _ = row
    return {
        "source": source,
        "distribution": distribution,
        "standard_uncertainty": number(u),
        "unit": unit,
        "sensitivity": number(sensitivity),
        "contribution": number(row.contribution),
        "degrees_of_freedom": number(degrees),
    }


def number(value: Decimal | Fraction | float | None) -> float | int | None:
    """A JSON number: ints as they are, exact values to 15, floats to 10 significant digits."""
    # By far the most are floats, and a type is told quicker than a class that it may belong to.
    if type(value) is float:
        return _float_number(value)
    if value is None or isinstance(value, int):
        return value
    if isinstance(value, Decimal):
        return float(_SHOWN.plus(value)) + 0.0
    if isinstance(value, Fraction):
        return ratio_number(*value.as_integer_ratio())
    return _float_number(value)


def float_number(value: float) -> float | None:
    """The JSON number of a float; None where it is infinite."""
    return None if isinf(value) else float(f"{value:.10g}") + 0.0


# In an archive the same uncertainties and sensitivities of weights come again and again.
_float_number: Final = lru_cache(maxsize=1024)(float_number)


def ratio_number(numerator: int, denominator: int) -> float:
    """The JSON number of an exact ratio."""
    return nearest_float(numerator, denominator, _DIGITS)


def jsonable(value: Any) -> Any:
    """`results` of an evaluation with every number in its JSON form."""
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, float | Decimal | Fraction):
        return number(value)
    if isinstance(value, dict):
        return {name: jsonable(below) for name, below in value.items()}
    return [jsonable(below) for below in value]


def request_digest(request: Mapping[str, Any], check: str) -> str:
    """`sha256:` over the RFC 8785 form of a request document.

    As it was sent, with `check` filled in; null members are the same as none; labels do not count.
    """
    asked = {**request, "check": check}
    asked.pop("labels", None)
    return digest(asked)
