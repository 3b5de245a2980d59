"""What a request for a plan of tolerances may state: that depends on the kinds of check."""

from typing import Final

from weighworthy_service.plans.asking import PLANNED
from weighworthy_service.wire.plans import tolerance_plan_form

TolerancePlanForm: Final = tolerance_plan_form(
    {kind.slug: kind.loads for kind in PLANNED if kind.loads is not None}
)
