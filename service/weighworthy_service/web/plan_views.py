"""Plans: what to check with, how tightly, how much to weigh, and what a product asks for."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from flask import Response, request

from weighworthy_service.checks.flaws import SenseError
from weighworthy_service.plans.loss_plan import loss_plan
from weighworthy_service.plans.product_plan import product_plan
from weighworthy_service.plans.smallest_sample import sample_plan
from weighworthy_service.plans.tolerance_plan import tolerance_plan
from weighworthy_service.profiles.refusal import from_flaws, refusal_of
from weighworthy_service.web.addresses import Known, View, Views
from weighworthy_service.web.asking import best_type, loaded
from weighworthy_service.web.json import read_json
from weighworthy_service.web.plan_asked import (
    loss_asked,
    product_asked,
    sample_asked,
    tolerance_asked,
)
from weighworthy_service.web.plan_form import TolerancePlanForm
from weighworthy_service.web.room import heavy
from weighworthy_service.web.views import JSON_TYPE, VERSION, json_response
from weighworthy_service.wire.form import Form
from weighworthy_service.wire.plans import (
    LossPlanForm,
    ProductPlanForm,
    SamplePlanForm,
)

Stated = Mapping[str, Any]
_LOSS: Final = LossPlanForm()
_TOLERANCE: Final = TolerancePlanForm()
_SAMPLE: Final = SamplePlanForm()
_PRODUCT: Final = ProductPlanForm()


def views(known: Known) -> Views:
    """The addresses of plans."""
    profiles = known.profiles

    def loss(document: Stated, stated: Stated) -> dict[str, Any]:
        return loss_plan(loss_asked(document, stated, profiles), VERSION)

    def tolerance(document: Stated, stated: Stated) -> dict[str, Any]:
        return tolerance_plan(tolerance_asked(document, stated, _TOLERANCE), VERSION)

    def sample(_: Stated, stated: Stated) -> dict[str, Any]:
        return sample_plan(sample_asked(stated), VERSION)

    def product(document: Stated, stated: Stated) -> dict[str, Any]:
        return product_plan(product_asked(document, stated), VERSION)

    return {
        "plans_simulated_loss": heavy(_planned(_LOSS, loss)),
        "plans_tolerance": heavy(_planned(_TOLERANCE, tolerance)),
        "plans_sample": _planned(_SAMPLE, sample),
        "plans_product": heavy(_planned(_PRODUCT, product)),
    }


def _planned(form: Form, plan: Callable[[Stated, Stated], dict[str, Any]]) -> View:
    def planned() -> Response:
        best_type((JSON_TYPE,))
        document = read_json(request)
        stated = loaded(form, document)
        try:
            return json_response(plan(document, stated))
        except SenseError as error:
            raise refusal_of("invalid", from_flaws(error.flaws)) from None

    return planned
