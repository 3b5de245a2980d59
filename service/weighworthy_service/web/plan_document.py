"""Plans in the OpenAPI document."""

import json
from functools import cache
from importlib.resources import files
from typing import Any, Final

from marshmallow import Schema

from weighworthy_service.web.document_parts import (
    BODY,
    EVERYWHERE,
    GUARDED,
    JSON,
    SECURITY,
    problems,
    response,
)
from weighworthy_service.web.plan_form import TolerancePlanForm
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.plan_answers import (
    LossPlanAnswerForm,
    ProductPlanAnswerForm,
    SamplePlanAnswerForm,
    TolerancePlanAnswerForm,
)
from weighworthy_service.wire.plans import (
    LossPlanForm,
    ProductPlanForm,
    SamplePlanForm,
)

_LOSS: Final = """\
Which of the weights to put on and which to lift off: the loss it simulates, how often it rejects a
balance without error, how often it accepts one that is off, and what it would reveal. Goes through
all sets of weights in the start window, by a stated order where there are too many, and says what
was left out. Options that another one equals or betters in everything are dropped.
"""
_TOLERANCE: Final = """\
For each load the smallest tolerance of two digits that is a stated multiple of the expanded
uncertainty and twice the guard band, that rounding alone cannot break, of which the weights take
at most their share, and which a balance without error breaks no more often than asked. What limits
it, and the coarsest class of weights (OIML R 111-1, Table 1) that will do, or that none helps.
"""
_SAMPLE: Final = """\
The sample mass from which on the balance takes no more than its share of the uncertainty of a
moisture result, exactly; beside it the smallest net weight of USP <41> and the minimum weight of
EURAMET cg-18, which are about single weighings.
"""
_PRODUCT: Final = """\
Limits of span, zero return, linearity and simulated loss, and the loads for them, that keep the
balance's part of a moisture result within a share of the room between typical moisture and
specification limit, or of an uncertainty: in the worst case of a balance that just passes. They
come as a profile, as JSON and as TOML with the reasons as comments, beside what no check can see.
"""
_SHARED: Final = """\

Nothing is guessed: what a plan cannot do without is asked for (422, by field), and whatever else it
takes stands in `assumed`. Every choice has its `because`.
"""
# Address, name of the example, summary, description, forms of body and answer.
_ADDRESSES: Final[tuple[tuple[str, str, str, type[Form], type[Schema]], ...]] = (
    (
        "simulated-loss",
        "Which weights for a simulated loss",
        _LOSS,
        LossPlanForm,
        LossPlanAnswerForm,
    ),
    (
        "tolerance",
        "The tightest honest tolerances of a balance",
        _TOLERANCE,
        TolerancePlanForm,
        TolerancePlanAnswerForm,
    ),
    ("sample", "The smallest sample mass", _SAMPLE, SamplePlanForm, SamplePlanAnswerForm),
    (
        "product",
        "Tolerances from what a product needs",
        _PRODUCT,
        ProductPlanForm,
        ProductPlanAnswerForm,
    ),
)


@cache
def plan_examples() -> dict[str, Any]:
    """By the last part of its address, a `request` and its `answer`."""
    folder = files("weighworthy_service.plans") / "examples"
    return {
        name: json.loads((folder / f"{name}.json").read_text("utf-8")) for name, *_ in _ADDRESSES
    }


def plan_operations() -> dict[str, dict[str, Any]]:
    """By address, what may be done there."""
    return {f"/v1/plans/{one[0]}": {"post": _planned(*one)} for one in _ADDRESSES}


def _planned(
    name: str, summary: str, about: str, asked: type[Form], answered: type[Schema]
) -> dict[str, Any]:
    example = plan_examples()[name]
    examples = {"Plan": {"value": example["request"]}}
    slugs = (*BODY, *(("profile-not-usable",) if name == "simulated-loss" else ()))
    return {
        "operationId": f"plan_{name.replace('-', '_')}",
        "tags": ["plans"],
        "summary": summary,
        "description": about + _SHARED,
        "security": SECURITY,
        "requestBody": {
            "required": True,
            "content": {JSON: {"schema": asked, "examples": examples}},
        },
        "responses": {
            "200": response("The plan.", answered, {"Plan": example["answer"]}),
            **problems((*slugs, *GUARDED, *EVERYWHERE)),
        },
    }
